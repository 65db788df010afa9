//! What can go wrong, and how often.

/// What goes wrong.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Fault {
    /// Half of the samples are missing.
    Drop,
    /// Each sample comes twice, or the one before comes again.
    Repeat,
    /// Neighbours are swapped.
    Reorder,
    /// Nothing comes for up to 15 s.
    Stall,
    /// The position is 15 m to 3 km off for up to 2 s.
    Leap,
    /// The position runs away at up to 3 m/s and comes back at once.
    Drift,
    /// Position and speed stay as they are.
    Freeze,
    /// 8 m and 3 m/s of noise.
    Noise,
    /// One sample in five.
    Rate,
    /// The clock jumps by up to 1000 s, either way.
    Clock,
    /// A value is not a number.
    NotANumber,
    /// No fix, or no speed either.
    Void,
    /// km/h, mph or knots as m/s.
    Units,
    /// North for east.
    Axes,
    /// The position is up to 1 s behind the speed.
    Lag,
    /// No direction, or no speed.
    Missing,
    /// The car turns round, drives back and turns again.
    Back,
    /// Through a lane 12 m beside the line at 16.7 m/s.
    Pit,
    /// A stop on the track, and on again.
    Stop,
    /// The source starts again with its clock at zero.
    Restart,
}

impl Fault {
    /// All of them.
    pub const ALL: [Self; 20] = [
        Self::Drop,
        Self::Repeat,
        Self::Reorder,
        Self::Stall,
        Self::Leap,
        Self::Drift,
        Self::Freeze,
        Self::Noise,
        Self::Rate,
        Self::Clock,
        Self::NotANumber,
        Self::Void,
        Self::Units,
        Self::Axes,
        Self::Lag,
        Self::Missing,
        Self::Back,
        Self::Pit,
        Self::Stop,
        Self::Restart,
    ];

    /// Its name in the table and on the command line.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Drop => "drop",
            Self::Repeat => "repeat",
            Self::Reorder => "reorder",
            Self::Stall => "stall",
            Self::Leap => "leap",
            Self::Drift => "drift",
            Self::Freeze => "freeze",
            Self::Noise => "noise",
            Self::Rate => "rate",
            Self::Clock => "clock",
            Self::NotANumber => "nan",
            Self::Void => "void",
            Self::Units => "units",
            Self::Axes => "axes",
            Self::Lag => "lag",
            Self::Missing => "missing",
            Self::Back => "back",
            Self::Pit => "pit",
            Self::Stop => "stop",
            Self::Restart => "restart",
        }
    }

    /// Whether the car itself drives elsewhere.
    pub const fn drives(self) -> bool {
        matches!(self, Self::Back | Self::Pit | Self::Stop)
    }
}

/// How often.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Rate {
    /// Every 100 s on average.
    Rare,
    /// Every 20 s.
    Often,
    /// Always, from the first third of the drive on.
    Constant,
}

impl Rate {
    /// All of them.
    pub const ALL: [Self; 3] = [Self::Rare, Self::Often, Self::Constant];

    /// Its name.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Rare => "rare",
            Self::Often => "often",
            Self::Constant => "constant",
        }
    }
}

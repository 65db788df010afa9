//! The last second or two of the drive, kept so that onsets can be dated back.

/// Points kept: 2 s at the fastest rate the gate lets through.
pub const TRACE_LEN: usize = 256;

/// One admitted sample on the line, with what was found out about it later.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Point {
    /// The low half of its source time, microseconds: all points of a trace lie within the half hour
    /// that 31 bits hold, so their differences are known, and [`Trace::source_us`] gives the whole.
    pub low_us: u32,
    /// Metres from the start line.
    pub progress_m: f32,
    /// Metres left of the line.
    pub offset_m: f32,
    /// Speed as received, m/s.
    pub speed_mps: f32,
    /// Direction of travel, radians counter-clockwise from east; not a number where there is none
    /// (a word less than an option takes, 256 times).
    pub direction_rad: f32,
    /// Longitudinal acceleration centred on this point, m/s²; filled in when enough later points
    /// are there.
    pub acc_mps2: f32,
    /// How hard the car brakes: see [`crate::motion`].
    pub braking: f32,
    /// How much of its drive the car uses: see [`crate::motion`].
    pub drive: f32,
    /// Lap under way.
    pub lap: u16,
    /// Whether `braking` comes from a pedal.
    pub brake_seen: bool,
    /// Whether `drive` comes from a pedal.
    pub throttle_seen: bool,
}

impl Point {
    /// Microseconds from a source time near the trace, of which the low half is enough, to this
    /// point; negative when it came before.
    #[inline]
    pub fn since_us(&self, low_us: u32) -> i32 {
        self.low_us.wrapping_sub(low_us) as i32
    }
}

/// A ring of points addressed by the running number they were pushed with.
#[derive(Clone, Debug)]
pub struct Trace {
    points: [Point; TRACE_LEN],
    /// Source time of the newest point, microseconds.
    newest_us: u64,
    /// Running number of the next point.
    next: u32,
    /// Running number of the oldest point that hangs together with the newest.
    first: u32,
}

impl Default for Trace {
    fn default() -> Self {
        Self {
            points: [Point::default(); TRACE_LEN],
            newest_us: 0,
            next: 0,
            first: 0,
        }
    }
}

impl Trace {
    /// Appends a point of this source time and returns its running number.
    pub fn push(&mut self, time_us: u64, point: Point) -> u32 {
        let number = self.next;
        if let Some(slot) = self.points.get_mut(number as usize % TRACE_LEN) {
            *slot = point;
            slot.low_us = time_us as u32;
        }
        self.newest_us = time_us;
        self.next = number.wrapping_add(1);
        if self.len() > TRACE_LEN as u32 {
            self.first = self.next.wrapping_sub(TRACE_LEN as u32);
        }
        number
    }

    /// As new. What is left in the ring cannot be reached.
    pub fn restart(&mut self) {
        self.next = 0;
        self.first = 0;
    }

    /// Source time of one of its points, microseconds.
    pub fn source_us(&self, point: &Point) -> u64 {
        let ago_us = (self.newest_us as u32).wrapping_sub(point.low_us);
        self.newest_us.wrapping_sub(u64::from(ago_us))
    }

    /// Forgets everything: what comes next does not hang together with what was.
    pub fn cut(&mut self) {
        self.first = self.next;
    }

    /// Points that hang together with the newest.
    pub fn len(&self) -> u32 {
        self.next.wrapping_sub(self.first)
    }

    /// Whether nothing is kept.
    pub fn is_empty(&self) -> bool {
        self.next == self.first
    }

    /// Running number of the newest point, if any.
    pub fn newest(&self) -> Option<u32> {
        (!self.is_empty()).then(|| self.next.wrapping_sub(1))
    }

    /// The point with a running number, while it is kept.
    pub fn get(&self, number: u32) -> Option<&Point> {
        let age = self.next.wrapping_sub(number);
        if age == 0 || age > self.len() {
            return None;
        }
        self.points.get(number as usize % TRACE_LEN)
    }

    /// So many points from a running number on, when all of them are kept: those up to the end of
    /// the ring, and those from its beginning on.
    pub fn run(&self, first: u32, count: u32) -> Option<[&[Point]; 2]> {
        let age = self.next.wrapping_sub(first);
        if count > age || age > self.len() {
            return None;
        }
        let (from, count) = (first as usize % TRACE_LEN, count as usize);
        let over = from.saturating_add(count).saturating_sub(TRACE_LEN);
        let upper = self.points.get(from..)?;
        let upper = upper.get(..count).unwrap_or(upper);
        Some([upper, self.points.get(..over)?])
    }

    /// As [`Trace::get`], to fill in what was found out later.
    pub fn get_mut(&mut self, number: u32) -> Option<&mut Point> {
        let age = self.next.wrapping_sub(number);
        if age == 0 || age > self.len() {
            return None;
        }
        self.points.get_mut(number as usize % TRACE_LEN)
    }
}

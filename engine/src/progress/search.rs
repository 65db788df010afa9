//! Finding the place on the whole line when it is lost.
//!
//! A scan over all nodes, spread over about [`SCAN_S`], collects the places near the car whose
//! direction agrees; each is then followed for a few samples, and the nearest that keeps step with
//! the car is believed.

use super::line::Mark;
use crate::event::Why;
use crate::gate::Admitted;
use crate::math::{atan2, sin_cos, wrap_angle};
use crate::reference::ReferenceView;
use heapless::Vec;

/// The scan of a whole line takes about this long, seconds.
const SCAN_S: f32 = 0.2;
/// Nodes looked at for one sample, at least and at most.
const SCAN_NODES: (usize, usize) = (64, 1_000);
/// Farther from the line than this there is no place on it, metres.
pub(super) const BESIDE_MOST_M: f32 = 60.0;
/// A node this near is worth following: half a spacing and the drive of a scan beyond it.
const NEAR_M: f32 = 80.0;
/// Cosine of the largest angle between car and line at a node.
const AGREE: f32 = 0.5;
/// Largest angle between car and line for a place to be followed, radians.
const AGREE_RAD: f32 = 0.8;
/// A followed place may be out of step by this much, metres.
const STEP_M: f32 = 4.0;
/// For how long a place is followed before it is believed, seconds.
const FOLLOW_S: f32 = 0.25;
/// And for how many samples.
const FOLLOW_SAMPLES: u8 = 3;
/// How many places are followed at once.
const PLACES: usize = 4;

/// A search under way.
#[derive(Clone, Debug, Default)]
pub(super) struct Search {
    stage: Stage,
    /// Whether the last finished scan found the car far from every part of the line.
    far: bool,
}

#[derive(Clone, Debug, Default)]
enum Stage {
    #[default]
    Idle,
    Scanning(Scan),
    Following(Follow),
}

/// A scan for the nodes near where the car was when it began.
#[derive(Clone, Debug)]
struct Scan {
    east_m: f32,
    north_m: f32,
    /// Unit vector of travel, zero when there is no direction.
    way: (f32, f32),
    travelled_m: f32,
    next: usize,
    run: Option<Candidate>,
    found: Vec<Candidate, PLACES>,
}

#[derive(Clone, Copy, Debug)]
struct Candidate {
    node: usize,
    far2_m2: f32,
    forward: bool,
}

#[derive(Clone, Debug)]
struct Follow {
    places: Vec<Followed, PLACES>,
    elapsed_s: f32,
    samples: u8,
}

/// A place that is being followed.
#[derive(Clone, Copy, Debug)]
pub(super) struct Followed {
    pub(super) mark: Mark,
    pub(super) left_m: f32,
    pub(super) forward: bool,
}

impl Search {
    /// Why the place is not known.
    pub(super) fn why(&self) -> Why {
        if self.far {
            Why::FarFromLine
        } else {
            Why::Searching
        }
    }

    /// Goes on searching with one sample; gives the place once it is believed.
    pub(super) fn advance(&mut self, line: &ReferenceView<'_>, at: &Admitted) -> Option<Followed> {
        if at.broken {
            self.stage = Stage::Idle;
        }
        if matches!(self.stage, Stage::Idle) {
            if !at.located {
                return None;
            }
            self.stage = Stage::Scanning(Scan::begin(at));
        } else if let Stage::Scanning(scan) = &mut self.stage {
            scan.travelled_m += at.speed_mps * at.dt_s;
        }
        if let Stage::Scanning(scan) = &mut self.stage {
            if !scan.go_on(line, at.dt_s) {
                return None;
            }
            let places = scan.places(line, at);
            self.far = places.is_empty();
            self.stage = if self.far {
                Stage::Idle
            } else {
                Stage::Following(Follow {
                    places,
                    elapsed_s: 0.0,
                    samples: 0,
                })
            };
            return None;
        }
        let Stage::Following(follow) = &mut self.stage else {
            return None;
        };
        follow.step(line, at);
        if follow.places.is_empty() {
            self.stage = Stage::Idle;
            return None;
        }
        if follow.elapsed_s < FOLLOW_S || follow.samples < FOLLOW_SAMPLES {
            return None;
        }
        let best = follow.nearest();
        self.stage = Stage::Idle;
        best
    }
}

impl Scan {
    fn begin(at: &Admitted) -> Self {
        let way = at
            .direction_rad
            .map(sin_cos)
            .map_or((0.0, 0.0), |(sin, cos)| (cos, sin));
        Self {
            east_m: at.east_m,
            north_m: at.north_m,
            way,
            travelled_m: 0.0,
            next: 0,
            run: None,
            found: Vec::new(),
        }
    }

    /// Looks at the next nodes; true once all are seen.
    fn go_on(&mut self, line: &ReferenceView<'_>, dt_s: f32) -> bool {
        let count = line.nodes.len();
        // The first sample of a session has no duration.
        let share = (count as f32 * dt_s.max(0.04) / SCAN_S) as usize;
        let budget = share.clamp(SCAN_NODES.0, SCAN_NODES.1);
        let nodes = line.nodes.iter().enumerate().skip(self.next).take(budget);
        for (i, here) in nodes {
            let e = here.east_mm as f32 * 1e-3 - self.east_m;
            let n = here.north_mm as f32 * 1e-3 - self.north_m;
            let far2_m2 = e * e + n * n;
            let mut agrees = None;
            if far2_m2 < NEAR_M * NEAR_M
                && let Some(ahead) = line.nodes.get(i + 1).or(line.nodes.first())
            {
                let te = ahead.east_mm.wrapping_sub(here.east_mm) as f32 * 1e-3;
                let tn = ahead.north_mm.wrapping_sub(here.north_mm) as f32 * 1e-3;
                let along = te * self.way.0 + tn * self.way.1;
                let enough = AGREE * line.spacing_m;
                let standing = self.way == (0.0, 0.0);
                if standing || along > enough {
                    agrees = Some(true);
                } else if along < -enough {
                    agrees = Some(false);
                }
            }
            self.see(agrees.map(|forward| Candidate {
                node: i,
                far2_m2,
                forward,
            }));
        }
        self.next = self.next.saturating_add(budget);
        if self.next < count {
            return false;
        }
        self.see(None);
        true
    }

    /// Keeps the nearest node of each run of nodes that agree alike.
    fn see(&mut self, candidate: Option<Candidate>) {
        match (&mut self.run, candidate) {
            (Some(run), Some(c)) if run.forward == c.forward => {
                if c.far2_m2 < run.far2_m2 {
                    *run = c;
                }
            }
            (run, c) => {
                if let Some(done) = core::mem::replace(run, c) {
                    self.keep(done);
                }
            }
        }
    }

    /// Keeps a candidate if there is room or it is nearer than the farthest kept.
    fn keep(&mut self, c: Candidate) {
        if let Err(c) = self.found.push(c)
            && let Some(farthest) = self
                .found
                .iter_mut()
                .max_by(|a, b| a.far2_m2.total_cmp(&b.far2_m2))
            && farthest.far2_m2 > c.far2_m2
        {
            *farthest = c;
        }
    }

    /// The candidates brought to where the car is now.
    fn places(&self, line: &ReferenceView<'_>, at: &Admitted) -> Vec<Followed, PLACES> {
        let mut places = Vec::new();
        for c in &self.found {
            let way = if c.forward { 1.0 } else { -1.0 };
            let start = Mark {
                node: c.node,
                along_m: 0.0,
            };
            let mut place = Followed {
                mark: start.moved(line, way * self.travelled_m),
                left_m: 0.0,
                forward: c.forward,
            };
            for _ in 0..3 {
                if let Some(s) = place.mark.sight(line, at.east_m, at.north_m) {
                    place.mark = place.mark.moved(line, s.ahead_m.clamp(-30.0, 30.0));
                    place.left_m = s.left_m;
                }
            }
            if place.left_m.abs() <= BESIDE_MOST_M {
                // Full only when all candidates fit: the capacities are the same.
                let _ = places.push(place);
            }
        }
        places
    }
}

impl Follow {
    /// Takes every place one sample on and drops those out of step.
    fn step(&mut self, line: &ReferenceView<'_>, at: &Admitted) {
        self.elapsed_s += at.dt_s;
        if at.located {
            self.samples = self.samples.saturating_add(1);
        }
        self.places.retain_mut(|p| p.step(line, at));
    }

    /// The place to believe: forward ones before those against the line, the nearest of them.
    fn nearest(&self) -> Option<Followed> {
        let rank = |p: &Followed| p.left_m.abs() + if p.forward { 0.0 } else { BESIDE_MOST_M };
        self.places
            .iter()
            .min_by(|a, b| rank(a).total_cmp(&rank(b)))
            .copied()
    }
}

impl Followed {
    /// Follows the car by one sample; false when the place does not keep step with it.
    fn step(&mut self, line: &ReferenceView<'_>, at: &Admitted) -> bool {
        let way = if self.forward { 1.0 } else { -1.0 };
        let metres = way * at.speed_mps * at.dt_s;
        self.mark = self.mark.moved(line, metres);
        if !at.located {
            return true;
        }
        let Some(s) = self.mark.sight(line, at.east_m, at.north_m) else {
            return false;
        };
        self.mark = self.mark.moved(line, s.ahead_m.clamp(-30.0, 30.0));
        self.left_m = s.left_m;
        let slack = STEP_M + 0.3 * metres.abs();
        let agrees = at.direction_rad.is_none_or(|d| {
            let slip = wrap_angle(d - atan2(way * s.along.1, way * s.along.0)).abs();
            slip < AGREE_RAD
        });
        s.ahead_m.abs() <= slack && s.left_m.abs() <= BESIDE_MOST_M && agrees
    }
}

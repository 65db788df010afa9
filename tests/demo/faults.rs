//! Every planted fault does on the road what it is called, and the chain of what follows comes
//! from the physics.

use cuepost_engine::reference::CornerKind;
use cuepost_host::demo::car::Car;
use cuepost_host::demo::circuit::Circuit;
use cuepost_host::demo::drive::Drive;
use cuepost_host::demo::driver::{Driver, LapPlan, Scatter};
use cuepost_host::demo::fault::{Fault, FaultKind};
use cuepost_host::demo::plan::Style;
use cuepost_host::demo::quillmere;
use cuepost_host::demo::truth::{Moment, Passage};
use std::sync::LazyLock;

struct Stage {
    circuit: Circuit,
    driver: Driver,
    clean: Drive,
}

/// Circuit, driver and his clean lap, the same for all tests.
static STAGE: LazyLock<Stage> = LazyLock::new(Stage::new);

/// What a fault changed against the same lap without it.
struct Change {
    brake_m: Option<f64>,
    release_m: Option<f64>,
    throttle_m: Option<f64>,
    full_m: Option<f64>,
    slowest_mps: f64,
    exit_mps: f64,
    peak_decel: f64,
    /// To the outside of the bend, metres.
    slowest_out_m: f64,
    exit_out_m: f64,
    loss_s: f64,
    passage: Passage,
}

impl Stage {
    fn new() -> Self {
        let circuit = quillmere::circuit().expect("the pieces fit");
        let driver = Driver::practised(&circuit, &Car::touring(), Style::STEADY, Scatter::NONE);
        let clean = driver.drive(&circuit, &[LapPlan::clean()], 1);
        Self {
            circuit,
            driver,
            clean,
        }
    }

    fn change(&self, corner: u8, fault: Fault) -> Change {
        let clean = &self.clean;
        let faulty = self
            .driver
            .drive(&self.circuit, &[LapPlan::with(&[(corner, fault)])], 1);
        let turn = &self.driver.plan.turns[usize::from(corner) - 1];
        let end = self.driver.plan.road_end_m(&self.circuit, turn);
        let from = turn.begin_m - 60.0;
        let time = |d: &Drive| d.between_s(1, from, end).expect("inside the drive");
        let q = clean.passage(1, corner).expect("passed").clone();
        let p = faulty.passage(1, corner).expect("passed").clone();
        let moved = |a: Option<Moment>, b: Option<Moment>| Some(a?.along_m - b?.along_m);
        let out = -turn.curvature_pm.signum();
        Change {
            brake_m: moved(p.brake, q.brake).or(moved(p.lift, q.lift)),
            release_m: moved(p.release, q.release),
            throttle_m: moved(p.throttle, q.throttle),
            full_m: moved(p.full, q.full),
            slowest_mps: p.slowest.speed_mps - q.slowest.speed_mps,
            exit_mps: p.exit.speed_mps - q.exit.speed_mps,
            peak_decel: p.peak_decel_mps2 / q.peak_decel_mps2 - 1.0,
            slowest_out_m: out * (p.offset_slowest_m - q.offset_slowest_m),
            exit_out_m: out * (p.offset_exit_m - q.offset_exit_m),
            loss_s: time(&faulty) - time(clean),
            passage: p,
        }
    }
}

fn near(what: &str, got: Option<f64>, wanted: f64, within: f64) {
    let got = got.unwrap_or_else(|| panic!("{what} is not known"));
    assert!(
        (got - wanted).abs() <= within,
        "{what}: {got:.2} instead of {wanted:.2}"
    );
}

/// A braked corner at middling speed, a hairpin, a lifted sweeper and a flat kink of Quillmere.
const SINGLE: u8 = 1;
const HAIRPIN: u8 = 6;
const LIFTED: u8 = 3;
const FLAT: u8 = 7;

#[test]
fn the_corners_are_of_the_kinds_the_tests_below_need() {
    let stage = &*STAGE;
    let kind = |c: u8| stage.driver.plan.turns[usize::from(c) - 1].kind;
    assert_eq!(kind(SINGLE), CornerKind::Braked);
    assert_eq!(kind(HAIRPIN), CornerKind::Braked);
    assert_eq!(kind(LIFTED), CornerKind::Lifted);
    assert_eq!(kind(FLAT), CornerKind::Flat);
}

#[test]
fn braking_too_late_makes_the_car_wide_and_the_throttle_late() {
    let stage = &*STAGE;
    let c = stage.change(SINGLE, FaultKind::BrakeLate.of(12.0));
    near("onset", c.brake_m, 12.0, 0.5);
    assert!(c.passage.widest_m > 2.0, "wide by {} m", c.passage.widest_m);
    assert!(c.throttle_m.expect("known") > 10.0);
    assert!(c.exit_mps < -2.0, "slow out");
    assert!(c.loss_s > 0.2);
}

#[test]
fn braking_early_costs_time_and_nothing_else_goes_wrong() {
    let stage = &*STAGE;
    let c = stage.change(SINGLE, FaultKind::BrakeEarly.of(12.0));
    near("onset", c.brake_m, -12.0, 0.5);
    near("throttle", c.throttle_m, 0.0, 2.0);
    near("deceleration", Some(c.peak_decel), 0.0, 0.05);
    assert!(c.passage.widest_m < 0.5);
    assert!(c.loss_s > 0.1);
}

#[test]
fn soft_braking_needs_more_road_and_hard_braking_is_over_too_soon() {
    let stage = &*STAGE;
    let soft = stage.change(SINGLE, FaultKind::BrakeSoft.of(0.24));
    near("deceleration", Some(soft.peak_decel), -0.22, 0.05);
    assert!(soft.brake_m.expect("known") < -10.0);
    near("release", soft.release_m, 0.0, 3.0);
    assert!(soft.loss_s > 0.05);
    let hard = stage.change(SINGLE, FaultKind::BrakeHard.of(0.20));
    near("onset", hard.brake_m, 0.0, 0.3);
    near("deceleration", Some(hard.peak_decel), 0.19, 0.05);
    assert!(hard.release_m.expect("known") < -8.0);
    assert!(hard.loss_s > 0.05);
}

#[test]
fn a_trail_is_as_much_longer_or_shorter_as_ordered_from_the_same_onset() {
    let stage = &*STAGE;
    let corner = 10;
    let short = stage.change(corner, FaultKind::TrailShort.of(20.0));
    near("onset", short.brake_m, 0.0, 0.5);
    near("release", short.release_m, -20.0, 5.0);
    let long = stage.change(corner, FaultKind::TrailLong.of(20.0));
    near("onset", long.brake_m, 0.0, 0.5);
    near("release", long.release_m, 20.0, 6.0);
    assert!(long.throttle_m.expect("known") > 10.0);
    assert!(long.loss_s > 0.1);
}

#[test]
fn slowing_too_much_keeps_the_exit_and_too_little_spoils_it() {
    let stage = &*STAGE;
    let slow = stage.change(SINGLE, FaultKind::OverSlow.of(2.0));
    near("onset", slow.brake_m, 0.0, 0.5);
    near("slowest", Some(slow.slowest_mps), -2.0, 0.6);
    near("exit", Some(slow.exit_mps), 0.0, 0.6);
    assert!(
        slow.full_m.expect("known") < 1.0,
        "the grip is there for an early full throttle"
    );
    let fast = stage.change(HAIRPIN, FaultKind::TooFast.of(2.0));
    near("onset", fast.brake_m, 0.0, 0.5);
    near("slowest", Some(fast.slowest_mps), 2.0, 0.6);
    assert!(fast.passage.widest_m > 1.0);
    assert!(fast.throttle_m.expect("known") > 5.0);
    assert!(fast.loss_s > 0.1);
}

#[test]
fn a_line_is_as_far_off_as_ordered() {
    let stage = &*STAGE;
    let wide = stage.change(SINGLE, FaultKind::Wide.of(3.0));
    near("offset", Some(wide.slowest_out_m), 3.0, 0.3);
    assert!(wide.loss_s > 0.05);
    let tight = stage.change(SINGLE, FaultKind::Tight.of(3.0));
    near("offset", Some(tight.slowest_out_m), -3.0, 0.4);
    let exit = stage.change(SINGLE, FaultKind::ExitUnused.of(3.0));
    near("exit", Some(exit.exit_out_m), -3.0, 0.2);
    near("throttle", exit.throttle_m, 0.0, 1.0);
    assert!(exit.loss_s > 0.05);
}

#[test]
fn throttle_faults_are_as_late_early_or_slow_as_ordered() {
    let stage = &*STAGE;
    for corner in [SINGLE, HAIRPIN, LIFTED] {
        let late = stage.change(corner, FaultKind::ThrottleLate.of(16.0));
        near("throttle", late.throttle_m, 16.0, 1.0);
        near("onset", late.brake_m, 0.0, 0.1);
        assert!(late.loss_s > 0.05);
    }
    let early = stage.change(SINGLE, FaultKind::ThrottleEarly.of(16.0));
    near("throttle", early.throttle_m, -16.0, 1.5);
    assert_eq!(early.passage.lifts, 1, "the grip was not there");
    assert!(early.loss_s > 0.1);
    let slow = stage.change(SINGLE, FaultKind::SlowToFull.of(30.0));
    near("full", slow.full_m, 30.0, 4.0);
    near("throttle", slow.throttle_m, 0.0, 1.0);
    let lift = stage.change(SINGLE, FaultKind::LiftAfter.of(0.3));
    assert_eq!(lift.passage.lifts, 1);
    near("throttle", lift.throttle_m, 0.0, 0.1);
    assert!(lift.loss_s > 0.05);
}

#[test]
fn rolling_between_the_pedals_lasts_as_much_longer_as_ordered() {
    let stage = &*STAGE;
    let usual = stage.driver.plan.turns[0]
        .practice
        .coast_s()
        .expect("braked");
    let c = stage.change(SINGLE, FaultKind::Coast.of(0.6));
    near("rolling", c.passage.coast_s().map(|s| s - usual), 0.6, 0.2);
    assert!(c.loss_s > 0.1);
}

#[test]
fn lifts_in_flat_and_lifted_corners_cost_time() {
    let stage = &*STAGE;
    let flat = stage.change(FLAT, FaultKind::Lift.of(0.6));
    assert_eq!(flat.passage.lifts, 1);
    assert!(flat.loss_s > 0.1);
    let lifted = stage.change(LIFTED, FaultKind::Lift.of(0.5));
    assert!(lifted.brake_m.expect("lifted") < -15.0);
    assert!(lifted.loss_s > 0.1);
}

#[test]
fn driving_faster_gains_time() {
    let stage = &*STAGE;
    for corner in [SINGLE, HAIRPIN, 8] {
        let c = stage.change(corner, FaultKind::Faster.of(2.0));
        assert!(c.loss_s < -0.08, "corner {corner}: {} s", c.loss_s);
        assert!(c.passage.widest_m < 0.8);
    }
}

/// A fault stays in its corner: the laps are the same again behind the straight after it.
#[test]
fn what_is_lost_is_lost_once() {
    let stage = &*STAGE;
    let plan = LapPlan::with(&[(SINGLE, FaultKind::ThrottleLate.of(16.0))]);
    let a = stage
        .driver
        .drive(&stage.circuit, &[LapPlan::clean(), LapPlan::clean()], 1);
    let b = stage
        .driver
        .drive(&stage.circuit, &[plan, LapPlan::clean()], 1);
    let lost = b.lap_s(1).expect("lap 1") - a.lap_s(1).expect("lap 1");
    let after = b.lap_s(2).expect("lap 2") - a.lap_s(2).expect("lap 2");
    assert!(lost > 0.2 && after.abs() < 0.01, "{lost} s, then {after} s");
}

//! x
use cuepost_host::demo::campaign::*;
fn main() {
    let w = Wanted::default();
    let t = std::time::Instant::now();
    let (mut corners, mut planted) = (0, 0);
    let mut kinds = std::collections::BTreeMap::new();
    for seed in 0..30 {
        let t1 = std::time::Instant::now();
        let c = case(seed, &w);
        corners += c.driver.plan.turns.len() * 5;
        planted += c.planted.len();
        for t in &c.driver.plan.turns {
            *kinds
                .entry(format!("{:?} {:?}", t.bend, t.kind))
                .or_insert(0) += 1;
        }
        println!(
            "{seed} L {:.0} bends {} turns {} lap {:.1} {:?}",
            c.circuit.length_m(),
            c.circuit.bends.len(),
            c.driver.plan.turns.len(),
            c.driver.plan.lap_s().unwrap(),
            t1.elapsed()
        );
    }
    println!(
        "{corners} corners {planted} planted {:?} {kinds:#?}",
        t.elapsed()
    );
}

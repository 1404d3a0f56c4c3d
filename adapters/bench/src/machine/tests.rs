#![allow(clippy::unwrap_used, clippy::expect_used)]
use super::*;

#[test]
fn survey_print() {
    const PSI: f64 = 6894.757;
    let list = std::env::var("FAULT").unwrap_or_default();
    let seeds: u64 = std::env::var("SEEDS").ok().and_then(|s| s.parse().ok()).unwrap_or(4);
    for text in list.split(',') {
        let faults = Fault::parse_list(text).unwrap();
        for seed in 0..seeds {
            let m = Machine::new(seed, &faults);
            let mut c = m.clone();
            let rest = c.measure("battery").unwrap();
            c.with(|k| k.key = Key::On);
            c.advance(3.0);
            let keyp = c.measure("pump-inlet-pressure").unwrap() / PSI;
            let (cf, cg, lf, pf, pg) = (c.measure("controller-feed-drop").unwrap(), c.measure("controller-ground-drop").unwrap(), c.measure("lift-pump-feed-drop").unwrap(), c.measure("pump-feed-drop").unwrap(), c.measure("pump-ground-drop").unwrap());
            c.with(|k| {k.key = Key::Crank; k.air_open=false;});
            c.advance(0.5);
            let mut minv: f64 = 99.0;
            let mut minp: f64 = 1e9;
            let mut n = 0.0;
            let mut sp = 0.0;
            let mut t = 0.5;
            let mut pos: f64 = 0.0;
            let mut sux: f64 = 0.0;
            while t < 4.0 && c.rpm() < 500.0 {
                c.advance(0.01);
                t += 0.01;
                if c.rpm() < 400.0 { minv = minv.min(c.measure("battery").unwrap()); sp += c.rpm(); n += 1.0; }
                if t > 1.0 { minp = minp.min(c.measure("pump-inlet-pressure").unwrap() / PSI); }
                pos = pos.max(c.measure("positive-cable-drop").unwrap());
                sux = sux.min(c.measure("tank-suction").unwrap() / 3386.389);
            }
            let mut i = m.clone();
            let s = i.try_start_twice(Drive::Harness, 10.0);
            i.advance(5.0);
            let idle = i.measure("pump-inlet-pressure").unwrap() / PSI;
            let fd = (i.measure("filter-inlet-pressure").unwrap()-i.measure("pump-inlet-pressure").unwrap()) / PSI;
            println!("{text} {seed} T{:.0} rest {rest:.2} keyP {keyp:.1} crankP {minp:.1} V {minv:.2} rpm {:.0} pos {pos:.2} suc {sux:.1} | cf {cf:.2} cg {cg:.2} lf {lf:.2} pf {pf:.2} pg {pg:.2} | start {:?} idleP {idle:.1} fdrop {fd:.1} rpm {:.0} | {:?} bypass {:?} {:?} swap {:?} smoke {:?}", m.measure("ambient-temperature").unwrap()-273.15, sp / n, (s.started, s.died, (s.cranked*100.0).round()/100.0, s.peak.round()), i.rpm(), m.complaint(), m.observe("bypass-start").unwrap(), m.observe("bypass-high-idle").ok(), m.observe("swap-back").ok(), m.observe("smoke-cranking").unwrap());
        }
    }
}

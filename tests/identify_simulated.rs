//! Every relay fixture through the whole guide on the simulated bench: the fixture's truth drives
//! both the simulator and the assertion. The named pinout is right, or the part stays undecided
//! and says why; never wrong.

mod guided;

use coilmark::bench::{BenchOptions, SlipRates};

#[test]
fn look() {
    for file in std::fs::read_dir(concat!(env!("CARGO_MANIFEST_DIR"), "/fixtures/relays")).unwrap()
    {
        let name = file.unwrap().file_name().into_string().unwrap();
        let name = name.trim_end_matches(".toml");
        let options = BenchOptions { slips: SlipRates::NONE, ..BenchOptions::default() };
        let part = guided::part(name);
        let r = std::panic::catch_unwind(|| {
            if std::env::var("ONLY").is_ok_and(|only| only != name) { return; }
        let (bench, led) = guided::identify(name, options);
        if std::env::var("ONLY").is_ok() {
            for fact in &led.facts { match fact {
                coilmark::event::Event::ReadingCaptured(c) => println!("   {} {}-{} {:?} {:?} {:?}", c.touch, c.red, c.black, c.function, c.drive, c.value),
                coilmark::event::Event::BeliefUpdated(b) => println!("      H={:.3} {:?}", b.entropy_bits, b.candidates.iter().take(2).map(|c| format!("{:.4} {} coils {:?} {:?}", c.posterior, c.family, c.coils, c.poles.iter().map(|p| format!("{:?}{:?}/{:?}/{:?}", p.form, p.common, p.nc, p.no).replace("Pin", "")).collect::<Vec<_>>())).collect::<Vec<_>>()),
                coilmark::event::Event::ResultReached(_) => {},
                other => println!("   {other:?}"),
            } }
        }
            let f = led.finding();
            println!(
                "{name}: {:?} {} p={:.6} lat={:?} places={} moves={} drives={} haz={} truth={} {:?} faults={:?} coils={:?} poles={:?} tc={:?} tp={:?}\n",
                f.result,
                f.family,
                f.posterior,
                f.latching,
                f.placements,
                f.lead_moves,
                f.drive_changes,
                bench.hazards().len(),
                part.truth.family,
                f.reason,
                f.faults.iter().map(|f| f.code).collect::<Vec<_>>(),
                f.coils
                    .iter()
                    .map(|c| (c.plus.label().to_string(), c.minus.label().to_string(), c.polarised))
                    .collect::<Vec<_>>(),
                f.poles
                    .iter()
                    .map(|p| format!(
                        "{:?} {:?}/{:?}/{:?} {:?}",
                        p.form, p.common, p.nc, p.no, p.evidence
                    ))
                    .collect::<Vec<_>>(),
                part.truth.coils,
                part.truth.poles
            );
        });
        if r.is_err() {
            println!("{name}: PANIC");
        }
    }
}

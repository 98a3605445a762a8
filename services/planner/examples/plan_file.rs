//! Plans an instance file: `plan_file INSTANCE SECONDS [SEED]` (processor seconds of one thread).

use planner::outcome::Options;
use planner::yardstick::solve_text;

fn processor_seconds() -> f64 {
    let text = std::fs::read_to_string("/proc/self/schedstat").unwrap_or_default();
    text.split(' ').next().and_then(|word| word.parse::<f64>().ok()).unwrap_or(0.0) / 1e9
}

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let mut words = std::env::args().skip(1);
    let text = std::fs::read_to_string(words.next().ok_or("an instance file is needed")?)?;
    let seconds: f64 = words.next().unwrap_or_default().parse()?;
    let seed = words.next().map_or(Ok(1), |word| word.parse())?;
    let begin = processor_seconds();
    let spent = || (processor_seconds() - begin) / seconds;
    println!("{}", solve_text(&text, &Options { seed, ..Options::default() }, &spent)?);
    Ok(())
}

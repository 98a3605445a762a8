//! Times the first plan and a repair of an instance file: `first_plan INSTANCE`.

use planner::outcome::Options;
use planner::repair::repair;
use planner::yardstick::shop_day::ShopDay;
use std::time::Instant;

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let path = std::env::args().nth(1).ok_or("an instance file is needed")?;
    let day = ShopDay::read(&std::fs::read_to_string(path)?)?;
    let mut model = day.model()?;
    let options = Options { iterations: Some(0), ..Options::default() };
    let least = |run: &mut dyn FnMut()| {
        let times = (0..9).map(|_| {
            let begin = Instant::now();
            run();
            begin.elapsed()
        });
        times.min().unwrap_or_default()
    };
    let first = planner::improve::plan(&model, &options, &|| 0.0);
    println!(
        "first plan {:?}, costs {}",
        least(&mut || drop(planner::improve::plan(&model, &options, &|| 0.0))),
        first.cost.total()
    );
    model.in_force = first.placements;
    println!("nothing happened {:?}", least(&mut || drop(repair(&model))));
    model.technicians[0].shifts.clear();
    println!("technician gone {:?}", least(&mut || drop(repair(&model))));
    Ok(())
}

//! What a repair after one event costs beside a first plan: `repairs INSTANCE [EVENTS]`.
//!
//! Each event strikes the same plan, in turn: somebody goes home, a bay is down for two hours, a task is done two hours later than it could be, what runs
//! takes half an hour longer. It strikes the vehicles of the work that it takes time, bay or people from; what that work pushes in its turn counts as moved.
//! Prints microseconds of processor time at the median and the 95th percentile, and by kind of event how many moved of the tasks whose vehicles it does not
//! strike.

use planner::compare::compare;
use planner::improve::plan;
use planner::model::{Model, Ticks};
use planner::outcome::{Options, Plan};
use planner::repair::repair;
use planner::yardstick::shop_day::ShopDay;
use rustix::time::{ClockId, clock_gettime};
use std::collections::BTreeSet;
use std::time::Duration;

/// Microseconds that this thread has computed.
fn processor_time() -> f64 {
    let time = clock_gettime(ClockId::ThreadCPUTime);
    Duration::new(time.tv_sec.unsigned_abs(), u32::try_from(time.tv_nsec).unwrap_or(0))
        .as_secs_f64()
        * 1e6
}

fn timed<T>(run: impl FnOnce() -> T) -> (T, f64) {
    let begin = processor_time();
    let answer = run();
    (answer, processor_time() - begin)
}

/// Changes the model by the event of that number; tells which jobs it touches itself.
fn happen(model: &mut Model, before: &Plan, number: usize) -> Vec<usize> {
    let now = model.now;
    let placed = |job: usize| before.placements[job].as_ref();
    let jobs = 0..model.jobs.len();
    let open = |job: &usize| model.jobs[*job].fixed.is_none();
    match number % 4 {
        0 => {
            let who = number / 4 % model.technicians.len();
            let tonight = now + 600;
            let cut = |&(from, to): &(Ticks, Ticks)| [(from, to.min(now)), (from.max(tonight), to)];
            let shifts = &mut model.technicians[who].shifts;
            *shifts = shifts.iter().flat_map(cut).filter(|(from, to)| from < to).collect();
            let touched = |job: &usize| {
                placed(*job).is_some_and(|it| it.technicians.contains(&who) && it.start < tonight)
            };
            jobs.filter(open).filter(touched).collect()
        }
        1 => {
            let bay = number / 4 % model.bays.len();
            model.bays[bay].closed.push((now, now + 120));
            let touched = |job: &usize| {
                placed(*job).is_some_and(|it| it.bay == Some(bay) && it.start < now + 120)
            };
            jobs.filter(open).filter(touched).collect()
        }
        2 => {
            let movable: Vec<usize> = jobs.filter(open).collect();
            let job = movable[number * 7919 % movable.len()];
            model.jobs[job].earliest = placed(job).map_or(now, |it| it.start) + 120;
            vec![job]
        }
        _ => {
            let running = |job: &usize| {
                let fixed = model.jobs[*job].fixed.as_ref();
                fixed.is_some_and(|fixed| fixed.start <= now && fixed.end > now)
            };
            let running: Vec<usize> = jobs.filter(running).collect();
            let Some(&job) = running.get(number / 4 % running.len().max(1)) else {
                return Vec::new();
            };
            let Some(runs) = model.jobs[job].fixed.clone() else { return Vec::new() };
            let longer = runs.end + 30;
            let in_the_way = |job: &usize| {
                placed(*job).is_some_and(|it| {
                    let meets = it.technicians.iter().any(|who| runs.technicians.contains(who));
                    let there = meets || runs.bay.is_some() && it.bay == runs.bay;
                    there && it.start < longer && it.end > runs.end
                })
            };
            let touched =
                (0..model.jobs.len()).filter(open).filter(in_the_way).chain([job]).collect();
            if let Some(fixed) = &mut model.jobs[job].fixed {
                fixed.end = longer;
            }
            touched
        }
    }
}

/// Half an hour later: what has begun stays as it is.
fn go_on(model: &mut Model, before: &Plan) {
    model.now += 30;
    for (job, placed) in model.jobs.iter_mut().zip(&before.placements) {
        if job.fixed.is_none() {
            job.fixed = placed.clone().filter(|placed| placed.start < model.now);
        }
    }
}

/// Work of vehicles that the event does not strike.
fn others(model: &Model, touched: &[usize]) -> Vec<usize> {
    let vehicle = |job: usize| model.orders[model.jobs[job].order].vehicle;
    let struck: BTreeSet<usize> = touched.iter().map(|&job| vehicle(job)).collect();
    let open = |job: &usize| model.jobs[*job].fixed.is_none() && !struck.contains(&vehicle(*job));
    (0..model.jobs.len()).filter(open).collect()
}

fn percent(part: usize, whole: usize) -> f64 {
    let real = |count: usize| f64::from(u32::try_from(count).unwrap_or(u32::MAX));
    100.0 * real(part) / real(whole.max(1))
}

/// Median, 95th percentile and most.
fn spread(mut values: Vec<f64>) -> [f64; 3] {
    values.sort_by(f64::total_cmp);
    [50, 95, 100].map(|share| values[(values.len() - 1) * share / 100])
}

const KINDS: [&str; 4] =
    ["somebody goes home", "a bay is down", "a part is late", "work takes longer"];

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let mut words = std::env::args().skip(1);
    let text = std::fs::read_to_string(words.next().ok_or("an instance file is needed")?)?;
    let events: usize = words.next().map_or(Ok(100), |word| word.parse())?;
    let mut model = ShopDay::read(&text)?.model()?;
    let first = Options { iterations: Some(0), ..Options::default() };
    let firsts = (0..9).map(|_| timed(|| plan(&model, &first, &|| 0.0)).1);
    let [construction, ..] = spread(firsts.collect());
    let before = plan(&model, &Options { iterations: Some(20_000), ..first }, &|| 0.0);
    model.in_force.clone_from(&before.placements);
    go_on(&mut model, &before);
    let (mut times, mut shares) = (Vec::new(), [const { Vec::new() }; 4]);
    for number in 0..events.max(KINDS.len()) {
        let mut struck = model.clone();
        let touched = happen(&mut struck, &before, number);
        let (repaired, time) = timed(|| repair(&struck));
        times.push(time);
        let others = others(&model, &touched);
        let moved = compare(&struck, &before, &repaired).moved;
        let moved = moved.iter().filter(|job| others.binary_search(job).is_ok()).count();
        shares[number % KINDS.len()].push(percent(moved, others.len()));
    }
    let [median, slow, _] = spread(times);
    println!("{} tasks, {events} events", model.jobs.len());
    println!("first plan: median {construction:.0} us");
    println!(
        "repair: median {median:.0} us, p95 {slow:.0} us, {:.2} of a first plan",
        slow / construction
    );
    for (kind, shares) in KINDS.iter().zip(shares) {
        let [median, slow, most] = spread(shares);
        println!(
            "{kind}: moved of what it does not strike: median {median:.1} %, p95 {slow:.1} %, most {most:.1} %"
        );
    }
    Ok(())
}

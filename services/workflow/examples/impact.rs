//! Measures the impact of a draft on many open orders: `cargo run --release -p workflow --example impact -- 10000`.
//!
//! On a private PostgreSQL: takes the orders in, six lines each, through the workflow itself; then asks five times what
//! a draft that changes a rule and words a procedure anew would change.

use std::error::Error;
use std::time::Instant;

use cluster::{Cluster, DATABASE, Role as DatabaseRole, Settings};
use contract::orders::NewOrder;
use derivation::starter;
use domain::catalogue::{Catalogue, Rule};
use futures::{StreamExt as _, TryStreamExt as _, stream};
use serde_json::json;
use store::Db;
use uuid::Uuid;
use workflow::caller::{Call, Caller};
use workflow::flow::Flow;
use workflow::{catalogues, impact, intake, shops};

/// Lines of an order.
const LINES: usize = 6;
/// Rules of the large catalogue.
const RULES: usize = 100_000;
/// Orders that are loaded at once.
const SHARE: usize = 400;
/// Orders taken in at once.
const AT_ONCE: usize = 4;

#[tokio::main]
async fn main() -> Result<(), Box<dyn Error>> {
    let orders: usize = std::env::args().nth(1).map_or(Ok(10_000), |n| n.parse())?;
    let cluster = Cluster::start(&Settings::throwaway())?;
    Db::migrate(&cluster.url(DatabaseRole::Owner, DATABASE)).await?;
    let db = Db::connect(&cluster.url(DatabaseRole::Service, DATABASE), 8).await?;
    let flow = Flow::new(db.clone());
    let mut catalogue = starter::catalogue().map_err(|faults| format!("{faults:?}"))?;
    let shop = shops::add(&flow, "measured", "UTC", &catalogue).await?;
    let caller = Caller::duty(shop, "measuring");
    let call = Call { caller: caller.clone(), once: None, expects: None };

    let began = Instant::now();
    let sample: Vec<NewOrder> =
        (0..orders).map(|number| order(&catalogue, number)).collect::<Result<_, _>>()?;
    stream::iter(sample.iter().map(|new| intake::intake(&flow, &call, new)))
        .buffer_unordered(AT_ONCE)
        .try_for_each(|_| async { Ok(()) })
        .await?;
    println!("intake of {orders} orders: {:.1} s", began.elapsed().as_secs_f64());

    change(&mut catalogue);
    let draft = serde_json::to_vec(&catalogue)?;
    let began = Instant::now();
    catalogues::upload(&flow, &call, draft).await?;
    println!("upload and check of the draft: {:.2} s", began.elapsed().as_secs_f64());
    for round in 1..=5 {
        let began = Instant::now();
        let found = impact::impact(&flow, &caller, &catalogue.version).await?;
        let (all, affected) = (found.open_orders, found.affected_orders);
        let took = began.elapsed().as_secs_f64();
        println!("round {round}: {all} open orders, {affected} affected: {took:.2} s");
    }
    parts(&db, shop).await?;
    large(&flow, &call, &catalogue).await?;
    println!("peak memory of this process: {}", peak_memory()?);
    db.close().await;
    cluster.stop()?;
    Ok(())
}

/// How long each part of the loading takes, without the deriving beside it.
async fn parts(db: &Db, shop: Uuid) -> Result<(), Box<dyn Error>> {
    let mut tx = db.begin_reading(&[shop]).await?;
    let began = Instant::now();
    let ids = store::orders::open(&mut tx, shop).await?;
    println!("  ids of open orders: {:.3} s", began.elapsed().as_secs_f64());
    let mut took = [0.0; 4];
    let mut rows = [0; 4];
    for share in ids.chunks(SHARE) {
        let began = Instant::now();
        rows[0] += store::orders::load(&mut tx, shop, share).await?.len();
        let orders = began.elapsed().as_secs_f64();
        rows[1] += store::lines::load(&mut tx, shop, share).await?.len();
        let lines = began.elapsed().as_secs_f64();
        rows[2] += store::tasks::held(&mut tx, shop, share).await?.len();
        let tasks = began.elapsed().as_secs_f64();
        rows[3] += store::questions::pending(&mut tx, shop, share).await?.len();
        let questions = began.elapsed().as_secs_f64();
        for (sum, part) in
            took.iter_mut().zip([orders, lines - orders, tasks - lines, questions - tasks])
        {
            *sum += part;
        }
    }
    for ((name, took), rows) in ["orders", "lines", "tasks", "questions"].iter().zip(took).zip(rows)
    {
        println!("  loading {rows} {name}: {took:.3} s");
    }
    Ok(())
}

/// The most memory that this process ever had, as Linux tells it.
fn peak_memory() -> Result<String, std::io::Error> {
    let status = std::fs::read_to_string("/proc/self/status")?;
    let line = status.lines().find(|line| line.starts_with("VmHWM"));
    Ok(line.unwrap_or("unknown").trim_start_matches("VmHWM:").trim().to_owned())
}

/// Uploads a document of nearly the size that is read at the most, and tries it on the orders that are there.
async fn large(flow: &Flow, call: &Call, catalogue: &Catalogue) -> Result<(), Box<dyn Error>> {
    let mut large = catalogue.clone();
    "large".clone_into(&mut large.version);
    let pattern = large.rules.first().cloned().ok_or("the starter catalogue has rules")?;
    large.rules.extend((0..RULES).map(|number| Rule {
        id: format!("bulk_{number}"),
        because: format!("{number} {}", "a long reason ".repeat(32)),
        ..pattern.clone()
    }));
    let document = serde_json::to_vec(&large)?;
    let size = document.len() / 1_000_000;
    let began = Instant::now();
    catalogues::upload(flow, call, document).await?;
    let took = began.elapsed().as_secs_f64();
    println!("upload and check of {RULES} rules, {size} MB: {took:.2} s");
    let began = Instant::now();
    let found = impact::impact(flow, &call.caller, &large.version).await?;
    let took = began.elapsed().as_secs_f64();
    println!(
        "its impact, compiled for the first time: {} affected: {took:.2} s",
        found.affected_orders
    );
    Ok(())
}

/// An order whose lines set off rules of the catalogue, another mixture for each number.
fn order(catalogue: &Catalogue, number: usize) -> Result<NewOrder, serde_json::Error> {
    let rules: Vec<&Rule> =
        catalogue.rules.iter().filter(|rule| !rule.when.operations.is_empty()).collect();
    let lines: Vec<serde_json::Value> = (0..LINES)
        .map(|line| {
            let rule = rules[(number * 7 + line * 13) % rules.len()];
            let pattern = &rule.when.operations[number % rule.when.operations.len()];
            let action = pattern.actions.first().map_or("replace", String::as_str);
            json!({ "line": line + 1, "operations": [{ "action": action, "component": pattern.component }] })
        })
        .collect();
    let powertrain = ["combustion", "hybrid", "electric"][number % 3];
    serde_json::from_value(json!({ "number": format!("RO-{number}"), "lines": lines,
        "vehicle": { "identity": format!("chassis {number}"), "powertrain": powertrain } }))
}

/// Another wording of a procedure, and one rule less.
fn change(catalogue: &mut Catalogue) {
    "draft".clone_into(&mut catalogue.version);
    catalogue.rules.retain(|rule| rule.id != "new_pads");
    if let Some(check) = catalogue.procedures.iter_mut().find(|p| p.id == "firm_pedal_check") {
        check.minutes.most += 5;
    }
}

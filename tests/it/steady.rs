//! A steady load of evidence beside what the database itself can take in: the lag of the batches over time, and their rate
//! against `pgbench` inserting the same rows: each by a statement of its own, twenty in a transaction, as a client sends
//! rows; and, the least a database can do, twenty made inside the server by one statement (`steady.sql` beside this file).
//!
//! Short by default and then only a check that every batch is answered. To measure, in release, on a quiet machine:
//! `STEADY_SECONDS=300 STEADY_TASKS=40 STEADY_RATE=50 cargo test --release -p acceptance --test it steady -- --nocapture`

use std::io::Write as _;
use std::process::{Command, Stdio};
use std::sync::Arc;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::time::{Duration, Instant};

use chrono::TimeDelta;
use serde_json::{Value, json};
use tokio::sync::Mutex;

use crate::harness::Shop;
use crate::worker::{Held, Worker, now, proofs, rear_pads, taken_in, task, vin_frame};

/// Readings of a batch.
const READINGS: i64 = 20;
/// Clients of the part that runs as fast as it can, and of `pgbench`.
const CLIENTS: usize = 8;

fn setting(name: &str, default: u64) -> u64 {
    std::env::var(name).ok().and_then(|text| text.parse().ok()).unwrap_or(default)
}

#[tokio::test]
async fn batches_of_readings_are_answered_at_a_steady_pace() {
    let (seconds, tasks) = (setting("STEADY_SECONDS", 2), setting("STEADY_TASKS", 4));
    let rate = setting("STEADY_RATE", 4); // batches a second over all tasks
    let shop = crate::harness::shop().await;
    let mut running = Vec::new();
    for number in 0..tasks {
        running.push(Arc::new(begun(&shop, number).await));
    }
    println!("{} tasks run", running.len());

    let lags = paced(&shop, &running, seconds, rate).await;
    assert_eq!(lags.len() as u64, seconds * rate);
    let (first, last) = (lags.len() / 4, lags.len() - lags.len() / 4);
    tell("all", &lags);
    let early = tell("first quarter", &lags[..first]);
    let late = tell("last quarter", &lags[last..]);
    if seconds < 10 {
        return; // too short to measure anything
    }
    assert!(late < early * 3 + Duration::from_millis(50), "the lag grew: {early:?}, then {late:?}");
    let rate = flat_out(&shop, &running, seconds.min(20)).await;
    println!("flat out: {rate:.0} readings/s by {CLIENTS} clients");
    for (what, script) in [
        ("a statement for each row", row_by_row()),
        ("rows made inside the server", include_str!("steady.sql").to_owned()),
    ] {
        match pgbench(&shop, &running[0].1, seconds.min(20), &script) {
            Some(bare) => println!(
                "pgbench, {what}: {bare:.0} rows/s by {CLIENTS} clients; ours is {:.2} of it",
                rate / bare
            ),
            None => println!("pgbench, {what}: not run: no such program, or no result of it"),
        }
    }
}

/// A task that runs on a vehicle of its own, with a technician of its own.
async fn begun(shop: &Shop, number: u64) -> (Worker, Held) {
    shop.bay(&format!("bay {number}"), &["lift"]).await;
    for kind in ["scan_tool", "battery_support_unit"] {
        shop.equipment(&format!("{kind} {number}"), kind).await;
    }
    let worker = Worker::hired(shop, &format!("technician {number}")).await;
    let vin = demo::vin::invented(2019, u32::try_from(number).unwrap_or_default());
    let mut body = rear_pads(&format!("RO-{number}"));
    body["vehicle"]["vin"] = json!(vin);
    let order = taken_in(shop, body).await;
    let held = worker.take(task(&order, "parking_brake_open_for_service").id).await;
    worker.acknowledge(&held).await;
    let at = now(shop).await;
    let mut items = vec![vin_frame(&vin, at)];
    items.extend(proofs(&held.task.preconditions, at));
    worker.show(&held, items).await;
    worker.start(&held).await;
    (worker, held)
}

fn batch(at: chrono::DateTime<chrono::Utc>) -> Value {
    let signals = [
        ("battery_voltage", "V", 13.1),
        ("control_module_voltage", "V", 13.0),
        ("engine_speed", "/min", 0.0),
        ("vehicle_speed", "km/h", 0.0),
    ];
    let items: Vec<Value> = (0..READINGS)
        .map(|n| {
            let (signal, unit, value) =
                signals[usize::try_from(n).unwrap_or_default() % signals.len()];
            json!({ "kind": "reading", "signal": signal, "value": value, "unit": unit,
                "taken_at": at - TimeDelta::milliseconds(25 * n) })
        })
        .collect();
    json!(items)
}

async fn send(running: &(Worker, Held), at: chrono::DateTime<chrono::Utc>) {
    let (worker, held) = running;
    let answer = worker.act(held, "evidence", json!({ "items": batch(at) })).await.expect(200);
    let items = answer["items"].as_array().expect("outcomes");
    assert!(items.iter().all(|item| item["id"].is_string()), "{answer:#}");
}

/// Batches at their times, whether or not the ones before are answered; how long after its time each was.
async fn paced(
    shop: &Shop,
    running: &[Arc<(Worker, Held)>],
    seconds: u64,
    rate: u64,
) -> Vec<Duration> {
    let (base, began) = (now(shop).await, Instant::now());
    let mut sent = Vec::new();
    for n in 0..seconds * rate {
        let due = began + Duration::from_millis(n * 1000 / rate);
        tokio::time::sleep_until(due.into()).await;
        let one = Arc::clone(&running[usize::try_from(n).unwrap_or_default() % running.len()]);
        sent.push(tokio::spawn(async move {
            let at = base + TimeDelta::from_std(began.elapsed()).unwrap_or_default();
            send(&one, at).await;
            due.elapsed()
        }));
    }
    let mut lags = Vec::with_capacity(sent.len());
    for one in sent {
        lags.push(one.await.expect("is answered"));
    }
    lags
}

/// Readings a second when every client sends as soon as it is answered.
async fn flat_out(shop: &Shop, running: &[Arc<(Worker, Held)>], seconds: u64) -> f64 {
    let (base, began) = (now(shop).await, Instant::now());
    let done = Arc::new(AtomicUsize::new(0));
    let turn = Arc::new(Mutex::new(0_usize));
    let clients: Vec<_> = (0..CLIENTS)
        .map(|_| {
            let (running, done, turn) = (running.to_vec(), Arc::clone(&done), Arc::clone(&turn));
            tokio::spawn(async move {
                while began.elapsed() < Duration::from_secs(seconds) {
                    let next = {
                        let mut turn = turn.lock().await;
                        *turn += 1;
                        *turn % running.len()
                    };
                    let at = base + TimeDelta::from_std(began.elapsed()).unwrap_or_default();
                    send(&running[next], at).await;
                    done.fetch_add(1, Ordering::Relaxed);
                }
            })
        })
        .collect();
    for client in clients {
        client.await.expect("ends");
    }
    let readings = done.load(Ordering::Relaxed) * usize::try_from(READINGS).unwrap_or_default();
    f64::from(u32::try_from(readings).unwrap_or(u32::MAX)) / began.elapsed().as_secs_f64()
}

/// A batch as `pgbench` sends it: a transaction with an insert for each reading.
fn row_by_row() -> String {
    let (head, tail) =
        ("BEGIN;\nSELECT set_config('app.shops', '{' || :shop || '}', true);\n", "COMMIT;\n");
    let readings = batch(chrono::DateTime::UNIX_EPOCH);
    let inserts = readings.as_array().expect("items").iter().map(|reading| {
        let signal = reading["signal"].as_str().expect("a signal");
        let content = json!([{ "id": uuid::Uuid::nil(), "taken_at": reading["taken_at"],
            "received_at": reading["taken_at"], "marks": [], "kind": { "says": "number", "signal": signal,
            "value": reading["value"].to_string(), "unit": reading["unit"] } }]);
        format!(
            "INSERT INTO evidence (shop, id, task, attempt, kind, given, content, marks, taken_at, received_at, \
                observed_by, entered_by, series) \
             VALUES (:shop::uuid, gen_random_uuid(), :task::uuid, 1, 'reading', '{reading}', '{content}', '{{}}', \
                now(), now(), 'a technician', 'a technician', '{signal}');\n"
        )
    });
    std::iter::once(head.to_owned()).chain(inserts).chain([tail.to_owned()]).collect()
}

/// Rows a second of the same kind into the same table, 20 in a transaction, as the service's own role.
fn pgbench(shop: &Shop, held: &Held, seconds: u64, script: &str) -> Option<f64> {
    let define = |name: &str, value: String| ["-D".to_owned(), format!("{name}={value}")];
    let arguments =
        [define("shop", shop.id.to_string()), define("task", held.task.id.to_string())].concat();
    let program = std::env::var("PGBENCH")
        .unwrap_or_else(|_| "/usr/lib/postgresql/15/bin/pgbench".to_owned());
    let clients = CLIENTS.to_string();
    let mut run = Command::new(program)
        .args(["-n", "-M", "prepared", "-c", &clients, "-T", &seconds.to_string(), "-f", "-"])
        .args(arguments)
        .arg(shop.service_url())
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::inherit())
        .spawn()
        .ok()?;
    run.stdin.take()?.write_all(script.as_bytes()).ok()?; // and closed, so that it is read whole
    let run = run.wait_with_output().ok()?;
    let told = String::from_utf8_lossy(&run.stdout).into_owned();
    let rate = told.lines().find_map(|line| line.strip_prefix("tps = "))?;
    let rate: f64 = rate.split_whitespace().next()?.parse().ok()?;
    Some(rate * 20.0)
}

/// Tells the lags, and gives their median.
fn tell(what: &str, lags: &[Duration]) -> Duration {
    let mut sorted = lags.to_vec();
    sorted.sort_unstable();
    let at =
        |per_mille: usize| sorted.get(sorted.len() * per_mille / 1000).copied().unwrap_or_default();
    println!(
        "lag of {what}: p50 {:?}, p95 {:?}, p99 {:?}, most {:?}",
        at(500),
        at(950),
        at(990),
        sorted.last()
    );
    at(500)
}

//! `demo`: an invented shop's day, played over HTTP on the service that this process runs.

use std::cell::RefCell;
use std::net::SocketAddr;
use std::path::PathBuf;
use std::rc::Rc;
use std::sync::Arc;

use actix_web::rt;
use api::auth::TokenKeys;
use demo::report::{Report, Say};
use demo::service::Service;
use domain::lifecycle::OrderState;
use domain::role::Role;
use store::Db;
use tokio_util::sync::CancellationToken;
use uuid::Uuid;
use workflow::flow::Flow;
use workflow::shops;

use crate::cli::{DataSettings, DemoSettings, KeySettings, LogFormat, LogSettings};
use crate::database::Database;
use crate::serve::{Server, stop_on_signals};
use crate::{Outcome, documents, keys, log, shop, token};

/// Hours that the printed tokens hold.
const TOKEN_HOURS: u32 = 12;

/// Runs the demonstration.
pub(crate) fn run(settings: &DemoSettings) -> Outcome {
    log::begin(&LogSettings { log_format: LogFormat::Text, log: settings.log.clone() })?;
    let data = DataSettings { data: Some(folder(settings)?) };
    let folder = keys::folder(&data)?;
    documents::print(&format!("private PostgreSQL in {}", folder.display()))?;
    let database = Database::private(folder, settings.pg_bin.clone())?;
    let played = rt::System::new().block_on(play(settings, &data, &database));
    database.close()?;
    played
}

fn folder(settings: &DemoSettings) -> Outcome<PathBuf> {
    // Its clock runs fast, so it is kept apart from a database of real work.
    Ok(match &settings.data {
        Some(folder) => folder.clone(),
        None => cluster::default_folder()?.join("demo"),
    })
}

async fn play(settings: &DemoSettings, data: &DataSettings, database: &Database) -> Outcome {
    let keys = keys::of_tokens(&KeySettings { token_secret: None }, data)?;
    let db = database.connect().await?;
    let flow = Flow::new(db.clone()).sealing_with(keys::of_sealing(None, data)?);
    shop::seed_demo(&flow).await?;
    let shop = shops::named(&flow, shop::DEMO).await?;
    pace(database, f64::from(settings.pace)).await?;
    let stop = CancellationToken::new();
    stop_on_signals(&stop)?;
    let result = Rc::new(RefCell::new(None));
    let server = Server { listen: settings.listen, workers: 2 };
    let (told, stopping, leave, signing) =
        (Rc::clone(&result), stop.clone(), settings.exit, keys.clone());
    let served = server.run(&flow, keys, &stop, |addresses| {
        let base = base(addresses);
        rt::spawn(async move {
            let day = tokio::select! {
                day = day(&base, shop, &signing) => day,
                () = stopping.cancelled() => Err("stopped before the day was over".into()),
            };
            if let Err(error) = &day {
                eprintln!("bayproof: {error}");
            }
            *told.borrow_mut() = Some(day);
            if leave {
                stopping.cancel();
            } else if !stopping.is_cancelled() {
                let _ = documents::print("serving until Ctrl-C");
            }
        });
    });
    let served = served.await;
    // What comes after the day goes at the pace of real time.
    pace(database, 1.0).await?;
    db.close().await;
    served?;
    match result.take() {
        Some(Ok(report)) if report.mismatches.is_empty() => Ok(()),
        Some(Ok(report)) if settings.exit => {
            Err(format!("{} things went otherwise than they were to", report.mismatches.len())
                .into())
        }
        Some(Ok(_)) => Ok(()),
        Some(Err(error)) => Err(error),
        None => Err("stopped before the day was over".into()),
    }
}

async fn pace(database: &Database, rate: f64) -> Outcome {
    let owner = database.owner().ok_or("the owner's address is not known")?;
    Db::set_pace(owner, rate).await.map_err(|error| format!("can't set the clock: {error}").into())
}

fn base(addresses: &[SocketAddr]) -> String {
    addresses.first().map_or_else(String::new, |address| format!("http://{address}"))
}

async fn day(base: &str, shop: Uuid, keys: &TokenKeys) -> Outcome<Report> {
    let signing = keys.clone();
    let service = Service::new(base, move |subject, role, technician| {
        let claims = token::claims(shop, &[role], technician, subject, TOKEN_HOURS);
        signing.write(&claims).unwrap_or_default()
    });
    let say: Arc<Say> = Arc::new(|line: &str| {
        let _ = documents::print(line);
    });
    let report = demo::day::play(&service, say).await?;
    documents::print(&format!("\n{report}\n"))?;
    documents::print(&where_to_look(base, &service, &report))?;
    Ok(report)
}

fn where_to_look(base: &str, service: &Service, report: &Report) -> String {
    let dispatcher = service.as_role(Role::Dispatcher);
    let auditor = service.as_role(Role::Auditor);
    let done = |state| matches!(state, OrderState::Released | OrderState::Closed);
    let order = report.orders.iter().find(|order| done(order.state));
    let order = order.map_or_else(String::new, |order| order.id.to_string());
    let curl = |token: &str, accept: &str, path: &str| {
        format!("curl -s -H 'Authorization: Bearer {token}' -H 'Accept: {accept}' '{base}{path}'")
    };
    let (plan, proof) = (dispatcher.token(), auditor.token());
    format!(
        "The contract     {base}/docs/\n\
         The board        {} > board.svg\n\
         A report         {} > report.html\n\
         The checkpoint   {}\n",
        curl(plan, "image/svg+xml", "/v1/plan"),
        curl(proof, "text/html", &format!("/v1/orders/{order}/report")),
        curl(proof, "application/json", "/v1/journal/checkpoints"),
    )
}

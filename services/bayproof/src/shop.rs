//! `shop add`, and the shop that `--with-demo-shop` seeds.

use actix_web::rt;
use contract::problem::ProblemKind;
use domain::role::Role;
use uuid::Uuid;
use workflow::flow::Flow;
use workflow::shops;

use crate::cli::ShopSettings;
use crate::database::Database;
use crate::{Outcome, documents, keys, token};

/// Name of the shop for trying.
pub(crate) const DEMO: &str = "demo";
/// Hours that an owner's first token holds: a month.
const FIRST_TOKEN_HOURS: u32 = 24 * 30;

/// Makes a shop and prints its id and its owner's first token.
pub(crate) fn add(settings: &ShopSettings) -> Outcome {
    let catalogue = documents::catalogue(settings.catalogue.as_deref())?;
    let keys = keys::of_tokens(&settings.keys, &settings.database.data)?;
    let database = Database::open(&settings.database, true)?;
    let added: Outcome<Uuid> = rt::System::new().block_on(async {
        let db = database.connect().await?;
        let flow = Flow::new(db.clone());
        let id = shops::add(&flow, &settings.name, &settings.time_zone, &catalogue).await;
        db.close().await;
        Ok(id?)
    });
    database.close()?;
    let id = added?;
    let owner = token::claims(id, &[Role::Owner], None, "owner", FIRST_TOKEN_HOURS);
    documents::print(&format!("shop  {id}\ntoken {}", keys.write(&owner)?))
}

/// Makes the shop for trying, unless it is there.
pub(crate) async fn seed_demo(flow: &Flow) -> Outcome {
    match shops::add(flow, DEMO, "UTC", &documents::catalogue(None)?).await {
        Err(refusal) if refusal.kind() != ProblemKind::AlreadyExists => Err(refusal.into()),
        _ => Ok(()),
    }
}

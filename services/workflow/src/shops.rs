//! Shops: made with a catalogue of their own, found by name or id.

use contract::problem::{FieldFault, ProblemKind};
use domain::catalogue::Catalogue;
use serde_json::json;
use sha2::{Digest as _, Sha256};
use store::StoreError;
use store::catalogues::{self, CatalogueRow, DocumentRow};
use store::shops::{self, ShopRow};
use uuid::Uuid;

use crate::caller::{Call, Caller};
use crate::flow::Flow;
use crate::ids::Ids;
use crate::record::Happening;
use crate::refusal::Refusal;

/// Makes a shop of this name with a copy of the catalogue in force, and gives its id. The time zone is an IANA name.
pub async fn add(
    flow: &Flow,
    name: &str,
    time_zone: &str,
    catalogue: &Catalogue,
) -> Result<Uuid, Refusal> {
    check(name, time_zone)?;
    let document = serde_json::to_string(catalogue).map_err(StoreError::from)?;
    let document = DocumentRow { document, yaml: None };
    let mut before = flow.db.begin_reading(&[]).await?;
    let id = Ids::new().next(store::moment(&mut before, None).await?.now);
    drop(before);
    let call = Call { caller: Caller::duty(id, "shop"), once: None, expects: None };
    flow.write(&call, "shops.add", async |step| {
        let at = step.now().await?;
        let shop = ShopRow { id, name: name.to_owned(), time_zone: time_zone.to_owned() };
        match shops::insert(step.conn(), &shop, at).await {
            Err(StoreError::Duplicate { .. }) => {
                return Err(Refusal::new(
                    ProblemKind::AlreadyExists,
                    format!("there is a shop named `{name}` already"),
                ));
            }
            done => done?,
        }
        let count = |length: usize| i32::try_from(length).unwrap_or(i32::MAX);
        let row = CatalogueRow {
            version: catalogue.version.clone(),
            state: "in_force".to_owned(),
            revision: 1,
            procedures: count(catalogue.procedures.len()),
            rules: count(catalogue.rules.len()),
            digest: Sha256::digest(&document.document).to_vec(),
            created_at: at,
            in_force_at: Some(at),
        };
        catalogues::insert(step.conn(), id, &row, &document).await?;
        step.record(Happening {
            kind: "shop.added",
            order: None,
            subject: ("shop", id.to_string()),
            data: json!({ "name": name, "time_zone": time_zone, "catalogue": catalogue.version }),
        })
        .await?;
        Ok(id)
    })
    .await
}

/// The shop of this name or id.
pub async fn named(flow: &Flow, name: &str) -> Result<Uuid, Refusal> {
    let id = name.parse::<Uuid>().ok();
    let shops: Vec<Uuid> = id.into_iter().collect();
    let mut tx = flow.db.begin_reading(&shops).await?;
    let found = match id {
        Some(id) => shops::find(&mut tx, id).await?.map(|shop| shop.id),
        None => shops::named(&mut tx, name).await?,
    };
    found.ok_or_else(|| {
        Refusal::new(ProblemKind::NotFound, format!("there is no shop named `{name}`"))
    })
}

/// Every shop, for the duties beside the requests.
pub async fn every(flow: &Flow) -> Result<Vec<Uuid>, Refusal> {
    let mut tx = flow.db.begin_reading(&[]).await?;
    Ok(shops::every(&mut tx).await?)
}

fn check(name: &str, time_zone: &str) -> Result<(), Refusal> {
    let mut faults = Vec::new();
    if name.trim().is_empty() || name.trim() != name || name.parse::<Uuid>().is_ok() {
        faults.push(FieldFault {
            pointer: "/name".to_owned(),
            detail: "a name has no blanks at its ends, is not empty and is no id".to_owned(),
        });
    }
    if time_zone.parse::<chrono_tz::Tz>().is_err() {
        faults.push(FieldFault {
            pointer: "/time_zone".to_owned(),
            detail: format!("`{time_zone}` is no IANA time zone"),
        });
    }
    if faults.is_empty() { Ok(()) } else { Err(Refusal::unprocessable(faults)) }
}

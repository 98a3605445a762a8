//! A batch of evidence as a body: one item that breaks the contract does not spoil the others.

use actix_web::dev::Payload;
use actix_web::{FromRequest, HttpRequest};
use chrono::{DateTime, Utc};
use contract::evidence::EvidenceItem;
use contract::problem::FieldFault;
use serde::Deserialize;
use serde_json::Value;
use serde_json::value::RawValue;
use utoipa::ToSchema as _;
use uuid::Uuid;
use workflow::evidence::{Batch, Posted};

use crate::arrival::{Arriving, arrive};
use crate::body::{JSON, Schemas};
use crate::problem::Rejection;

/// Most items of a batch; [`contract::evidence::NewEvidence`] says the same.
const MOST: usize = 10_000;

/// Most characters of a device's name; as above.
const LONGEST: usize = 64;

/// A batch, each of its items read for itself.
pub(crate) struct Items {
    /// The batch.
    pub(crate) batch: Batch,
    /// SHA-256 of the path and the body's bytes.
    pub(crate) fingerprint: [u8; 32],
}

/// [`contract::evidence::NewEvidence`] with its items unread.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Unread<'a> {
    #[serde(default)]
    fence: Option<i64>,
    #[serde(default)]
    sent_at: Option<DateTime<Utc>>,
    #[serde(default)]
    observed_by: Option<Uuid>,
    #[serde(default)]
    device: Option<String>,
    #[serde(borrow)]
    items: Vec<&'a RawValue>,
}

impl FromRequest for Items {
    type Error = Rejection;
    type Future = Arriving<Self>;

    fn from_request(request: &HttpRequest, payload: &mut Payload) -> Self::Future {
        arrive(request, payload, JSON, |arrived, schemas| {
            let unread: Unread = serde_json::from_slice(&arrived.bytes)
                .map_err(|error| fault("", error.to_string()))?;
            if !(1..=MOST).contains(&unread.items.len()) {
                return Err(fault("/items", format!("a batch has 1 to {MOST} items")));
            }
            if unread
                .device
                .as_ref()
                .is_some_and(|name| !(1..=LONGEST).contains(&name.chars().count()))
            {
                return Err(fault("/device", format!("1 to {LONGEST} characters")));
            }
            let item = |raw: &&RawValue| item(raw.get(), schemas);
            let batch = Batch {
                fence: unread.fence,
                sent_at: unread.sent_at,
                observed_by: unread.observed_by,
                device: unread.device,
                items: unread.items.iter().map(item).collect(),
            };
            Ok(Self { batch, fingerprint: arrived.fingerprint })
        })
    }
}

/// One item, or what is wrong with it.
fn item(text: &str, schemas: Option<&Schemas>) -> Posted {
    let value: Value = serde_json::from_str(text).map_err(|error| plain(&error))?;
    let name = EvidenceItem::name();
    let faults = match schemas.filter(|schemas| !schemas.allows(&name, &value)) {
        Some(schemas) => schemas.faults_of_kind(&name, &value),
        None => Vec::new(),
    };
    match (serde_json::from_str(text), faults.as_slice()) {
        (Ok(item), []) => Ok(item),
        (Ok(_), faults) => Err(faults.iter().map(told).collect::<Vec<_>>().join("; ")),
        // What does not read says best why; which member it is the schema knows.
        (Err(error), [one]) => Err(told(&FieldFault { detail: plain(&error), ..one.clone() })),
        (Err(error), _) => Err(plain(&error)),
    }
}

/// A broken member of an item.
fn told(fault: &FieldFault) -> String {
    match fault.pointer.trim_start_matches('/') {
        "" => fault.detail.clone(),
        member => format!("`{member}`: {}", fault.detail),
    }
}

/// Where in the item it stands helps nobody who did not write it by hand.
fn plain(error: &serde_json::Error) -> String {
    let told = error.to_string();
    told.split(" at line ").next().unwrap_or_default().to_owned()
}

fn fault(pointer: &str, detail: String) -> Rejection {
    Rejection::invalid(vec![FieldFault { pointer: pointer.to_owned(), detail }])
}

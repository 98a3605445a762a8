//! The keeper's shelf of catalogues: a draft is uploaded, changed, put in force, retired by the next one.
//!
//! No order changes by any of it: an order stays on the version it was derived with until it is derived anew.

use contract::catalogue::{CatalogueState, CatalogueView, CheckView, DocumentNote, UploadView};
use contract::list::{Page, PageQuery};
use contract::problem::ProblemKind;
use derivation::check;
use derivation::document::{Document, Fault, Limits};
use serde_json::{Value, json};
use sha2::{Digest as _, Sha256};
use store::StoreError;
use store::catalogues::{self, CatalogueRow, DocumentRow};

use crate::caller::{Call, Caller};
use crate::checks::fault;
use crate::flow::{Flow, Step};
use crate::list;
use crate::record::{Happening, hex};
use crate::refusal::Refusal;

/// Largest document, in bytes.
pub const LARGEST: usize = 64 << 20;
/// Faults and notes of a document that are told; the rest is only counted.
const TOLD: usize = 500;

/// A document that has no faults.
#[derive(Debug)]
struct Sound {
    version: String,
    procedures: i32,
    rules: i32,
    digest: Vec<u8>,
    document: DocumentRow,
    notes: Vec<DocumentNote>,
}

/// Takes a document onto the shelf as a draft; all its faults at once, if it has any. The same document again gives
/// the catalogue that is there, and `false`.
pub async fn upload(
    flow: &Flow,
    call: &Call,
    text: Vec<u8>,
) -> Result<(UploadView, bool), Refusal> {
    let sound = read(flow, text).await?;
    flow.write(call, "catalogues.upload", async |step| {
        let shop = step.shop();
        if let Some(there) = catalogues::find(step.conn(), shop, &sound.version).await? {
            if there.digest == sound.digest {
                return Ok((told(there, &sound)?, false));
            }
            let advice = if there.state == "draft" { "; change the draft instead" } else { "" };
            let detail =
                format!("version {} is on the shelf with another document{advice}", sound.version);
            return Err(Refusal::new(ProblemKind::AlreadyExists, detail).with("state", there.state));
        }
        let at = step.now().await?;
        let row = CatalogueRow {
            version: sound.version.clone(),
            state: "draft".to_owned(),
            revision: 1,
            procedures: sound.procedures,
            rules: sound.rules,
            digest: sound.digest.clone(),
            created_at: at,
            in_force_at: None,
        };
        match catalogues::insert(step.conn(), shop, &row, &sound.document).await {
            // Somebody uploaded the same version beside us: the step runs again and sees it.
            Err(StoreError::Duplicate { .. }) => return Err(StoreError::Collision.into()),
            done => done?,
        }
        step.record_catalogue("catalogue.uploaded", &row, json!({})).await?;
        Ok((told(row, &sound)?, true))
    })
    .await
}

/// Puts another document in a draft's place.
pub async fn redraft(
    flow: &Flow,
    call: &Call,
    version: &str,
    text: Vec<u8>,
) -> Result<UploadView, Refusal> {
    let sound = read(flow, text).await?;
    if sound.version != version {
        let detail = format!("the path names version {version}, the document {}", sound.version);
        return Err(Refusal::unprocessable(vec![fault("/version", detail)]));
    }
    flow.write(call, "catalogues.redraft", async |step| {
        let there = step.draft(call, version).await?;
        if there.digest == sound.digest {
            return told(there, &sound);
        }
        let row = CatalogueRow {
            procedures: sound.procedures,
            rules: sound.rules,
            digest: sound.digest.clone(),
            ..there
        };
        let shop = step.shop();
        if !catalogues::redraft(step.conn(), shop, &row, &sound.document).await? {
            return Err(stale());
        }
        let row = CatalogueRow { revision: row.revision + 1, ..row };
        step.record_catalogue("catalogue.redrafted", &row, json!({})).await?;
        told(row, &sound)
    })
    .await
}

/// Puts a draft in force; new orders are derived with it. The one that was in force is retired.
pub async fn publish(flow: &Flow, call: &Call, version: &str) -> Result<CatalogueView, Refusal> {
    flow.write(call, "catalogues.publish", async |step| {
        let shop = step.shop();
        let in_force = catalogues::in_force(step.conn(), shop).await?.map(|(version, _)| version);
        if in_force.as_deref() == Some(version) {
            return view(step.on_shelf(version).await?);
        }
        let row = step.draft(call, version).await?;
        let at = step.now().await?;
        match catalogues::publish(step.conn(), shop, version, row.revision, at).await {
            // Somebody put another one in force beside us: the step runs again and sees it.
            Err(StoreError::Duplicate { .. }) => return Err(StoreError::Collision.into()),
            Ok(false) => return Err(stale()),
            done => done?,
        };
        let row = step.on_shelf(version).await?;
        step.record_catalogue("catalogue.published", &row, json!({ "replaces": in_force })).await?;
        view(row)
    })
    .await
}

/// Lays a draft aside: it is never put in force.
pub async fn lay_aside(flow: &Flow, call: &Call, version: &str) -> Result<CatalogueView, Refusal> {
    flow.write(call, "catalogues.lay_aside", async |step| {
        let shop = step.shop();
        let row = step.draft(call, version).await?;
        if !catalogues::lay_aside(step.conn(), shop, version, row.revision).await? {
            return Err(stale());
        }
        let row = step.on_shelf(version).await?;
        step.record_catalogue("catalogue.laid_aside", &row, json!({})).await?;
        view(row)
    })
    .await
}

/// Every catalogue, newest first.
pub async fn list(
    flow: &Flow,
    caller: &Caller,
    query: &PageQuery,
) -> Result<Page<CatalogueView>, Refusal> {
    flow.read(caller, async |step| {
        let shop = step.shop();
        let rows = catalogues::list(step.conn(), shop).await?;
        let all = rows.into_iter().map(view).collect::<Result<Vec<_>, _>>()?;
        list::page(all, query, |catalogue| catalogue.version.clone())
    })
    .await
}

/// One catalogue.
pub async fn get(flow: &Flow, caller: &Caller, version: &str) -> Result<CatalogueView, Refusal> {
    flow.read(caller, async |step| view(step.on_shelf(version).await?)).await
}

/// What a catalogue says: its canonical JSON, the YAML it was uploaded as, if it was, and the digest of the JSON.
pub async fn document(
    flow: &Flow,
    caller: &Caller,
    version: &str,
) -> Result<(DocumentRow, Vec<u8>), Refusal> {
    flow.read(caller, async |step| {
        let shop = step.shop();
        let digest = step.on_shelf(version).await?.digest;
        let document = catalogues::document(step.conn(), shop, version).await?;
        Ok((document.ok_or_else(|| Refusal::not_found("catalogue"))?, digest))
    })
    .await
}

/// The faults and notes of a document that is not kept.
pub async fn check(flow: &Flow, text: Vec<u8>) -> Result<CheckView, Refusal> {
    flow.aside(move || {
        let (_, check::Report { faults, notes }) = check::examine(&text, Limits::default());
        CheckView { faults: noted(faults), notes: noted(notes) }
    })
    .await
}

/// The same of one on the shelf, as it was uploaded.
pub async fn check_kept(flow: &Flow, caller: &Caller, version: &str) -> Result<CheckView, Refusal> {
    let (row, _) = document(flow, caller, version).await?;
    check(flow, row.yaml.unwrap_or(row.document).into_bytes()).await
}

/// Reads and checks, beside the requests.
async fn read(flow: &Flow, text: Vec<u8>) -> Result<Sound, Refusal> {
    flow.aside(move || sound(text)).await?
}

fn sound(text: Vec<u8>) -> Result<Sound, Refusal> {
    let (read, report) = check::examine(&text, Limits::default());
    let Some(Document { catalogue, .. }) = read.filter(|_| report.faults.is_empty()) else {
        return Err(faulty(report.faults));
    };
    let count = |length: usize| i32::try_from(length).unwrap_or(i32::MAX);
    let document = serde_json::to_string(&catalogue).map_err(StoreError::from)?;
    let is_json = text.trim_ascii_start().starts_with(b"{");
    Ok(Sound {
        digest: Sha256::digest(&document).to_vec(),
        procedures: count(catalogue.procedures.len()),
        rules: count(catalogue.rules.len()),
        version: catalogue.version,
        notes: noted(report.notes),
        document: DocumentRow {
            document,
            yaml: if is_json { None } else { String::from_utf8(text).ok() },
        },
    })
}

/// The refusal of a document, with its faults.
fn faulty(faults: Vec<Fault>) -> Refusal {
    let count = faults.len();
    let detail = match faults.as_slice() {
        [one] => one.to_string(),
        [first, ..] => format!("{count} faults, the first at {first}"),
        [] => "the document cannot be read".to_owned(),
    };
    Refusal::new(ProblemKind::CatalogueFaulty, detail)
        .with("fault_count", count)
        .with("faults", json!(noted(faults)))
}

fn noted(found: Vec<Fault>) -> Vec<DocumentNote> {
    let note = |fault: Fault| DocumentNote {
        line: fault.line,
        column: fault.column,
        code: fault.code.to_owned(),
        detail: fault.detail,
    };
    found.into_iter().take(TOLD).map(note).collect()
}

fn view(row: CatalogueRow) -> Result<CatalogueView, Refusal> {
    let count = |count: i32| u32::try_from(count).unwrap_or(0);
    Ok(CatalogueView {
        state: match row.state.as_str() {
            "draft" => CatalogueState::Draft,
            "in_force" => CatalogueState::InForce,
            "retired" => CatalogueState::Retired,
            _ => return Err(StoreError::Word(row.state).into()),
        },
        version: row.version,
        revision: row.revision,
        procedures: count(row.procedures),
        rules: count(row.rules),
        digest: hex(&row.digest),
        created_at: row.created_at,
        in_force_at: row.in_force_at,
    })
}

fn told(row: CatalogueRow, sound: &Sound) -> Result<UploadView, Refusal> {
    Ok(UploadView { catalogue: view(row)?, notes: sound.notes.clone() })
}

fn stale() -> Refusal {
    Refusal::new(ProblemKind::VersionStale, "the catalogue changed since it was read")
}

impl Step {
    /// One catalogue.
    pub(crate) async fn on_shelf(&mut self, version: &str) -> Result<CatalogueRow, Refusal> {
        let shop = self.shop();
        let row = catalogues::find(self.conn(), shop, version).await?;
        row.ok_or_else(|| Refusal::not_found("catalogue"))
    }

    /// One that is still a draft, of the revision that the request expects.
    async fn draft(&mut self, call: &Call, version: &str) -> Result<CatalogueRow, Refusal> {
        let row = self.on_shelf(version).await?;
        if call.expects.is_some_and(|revision| revision != row.revision) {
            return Err(stale());
        }
        if row.state != "draft" {
            let detail =
                format!("{version} is {}; upload it as a new version", row.state.replace('_', " "));
            return Err(Refusal::new(ProblemKind::WrongState, detail).with("state", row.state));
        }
        Ok(row)
    }

    async fn record_catalogue(
        &mut self,
        kind: &'static str,
        row: &CatalogueRow,
        more: Value,
    ) -> Result<(), Refusal> {
        let mut data = json!({ "version": row.version, "digest": hex(&row.digest),
            "procedures": row.procedures, "rules": row.rules });
        if let (Some(data), Value::Object(more)) = (data.as_object_mut(), more) {
            data.extend(more);
        }
        self.record(Happening {
            kind,
            order: None,
            subject: ("catalogue", row.version.clone()),
            data,
        })
        .await
    }
}

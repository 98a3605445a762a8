//! The offline check of an audit bundle.
//!
//! What it can't see: entries of the order that came after the last one in the bundle. A newer
//! bundle or the report's hash from elsewhere shows those.

use std::collections::BTreeSet;

use chrono::{DateTime, Utc};
use serde::Serialize;
use serde_json::Value;
use uuid::Uuid;

use crate::bundle::{Bundle, REPORT_MEMBER, VERSION};
use crate::checkpoint::{BadCheckpoint, SignedCheckpoint, origin};
use crate::entry::{self, Entry, NotAnEntry};
use crate::hash::{Hash, SALT_BYTES, commitment, digest, leaf};
use crate::key::PublicKey;
use crate::proof::{NoProof, verify_consistency, verify_inclusion};

/// What a bundle without fault shows.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Verdict {
    /// The shop.
    pub shop: Uuid,
    /// The order.
    pub order: Uuid,
    /// How many entries of the order were checked: 1 to this number, none missing between.
    pub entries: u64,
    /// The time of the first entry.
    pub first_at: DateTime<Utc>,
    /// The time of the last entry.
    pub last_at: DateTime<Utc>,
    /// Size of the journal that the checkpoint states.
    pub size: u64,
    /// Root of the journal that the checkpoint states.
    pub root: Hash,
    /// When the checkpoint was signed.
    pub signed_at: DateTime<Utc>,
    /// The key came from elsewhere, not only from the bundle. Without it the bundle shows only
    /// that it is consistent in itself.
    pub key_trusted: bool,
    /// The journal is the one of a checkpoint that was kept elsewhere.
    pub anchored: bool,
    /// The last report that the entries name.
    pub report: Option<Hash>,
    /// The report was in the bundle and has this hash.
    pub report_read: bool,
}

/// What is wrong with a bundle.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum Fault {
    /// The text is not a bundle.
    #[error("it is not an audit bundle: {0}")]
    Shape(String),
    /// A version that this program doesn't know.
    #[error("it is a bundle of version {0}, and this program knows version {VERSION}")]
    Version(u8),
    /// The bundle's key is not the one that is trusted.
    #[error("the bundle's key is {given}, the trusted key is {trusted}")]
    OtherKey {
        /// In the bundle.
        given: PublicKey,
        /// From elsewhere.
        trusted: PublicKey,
    },
    /// The bundle's checkpoint doesn't hold.
    #[error("the bundle's checkpoint: {0}")]
    Checkpoint(BadCheckpoint),
    /// The checkpoint that was kept elsewhere doesn't hold.
    #[error("the checkpoint kept elsewhere: {0}")]
    KeptCheckpoint(BadCheckpoint),
    /// A checkpoint of another journal.
    #[error("the checkpoint is of `{given}`, the shop's journal is `{expected}`")]
    OtherJournal {
        /// Its origin.
        given: String,
        /// The origin that it should have.
        expected: String,
    },
    /// Two checkpoints can't be of the same journal.
    #[error("the journal of {bundle} entries and the kept checkpoint of {kept} differ: {why}")]
    Forked {
        /// Size in the bundle's checkpoint.
        bundle: u64,
        /// Size in the checkpoint kept elsewhere.
        kept: u64,
        /// What failed.
        why: NoProof,
    },
    /// Nothing links the two checkpoints.
    #[error("the bundle has no proof between sizes {bundle} and {kept}: export it for this one")]
    NoLink {
        /// Size in the bundle's checkpoint.
        bundle: u64,
        /// Size in the checkpoint kept elsewhere.
        kept: u64,
    },
    /// A bundle without entries shows nothing.
    #[error("the bundle has no entries")]
    Empty,
    /// The bytes are not an entry.
    #[error("entry {number}: {why}")]
    Entry {
        /// Which one, from 1.
        number: u64,
        /// What is wrong.
        why: NotAnEntry,
    },
    /// The entry is not in the journal.
    #[error("entry {number}: {why}")]
    NotIncluded {
        /// Which one, from 1.
        number: u64,
        /// What failed.
        why: NoProof,
    },
    /// The entry is of another shop or order.
    #[error("entry {0} is of another shop or order")]
    Foreign(u64),
    /// Something was left out, or comes twice, or out of order.
    #[error("entry {number} of the bundle has number {} in its order", .given.map_or_else(|| "none".to_owned(), |seq| seq.to_string()))]
    Gap {
        /// Which one, from 1: the number that it should have.
        number: u64,
        /// The number that it has.
        given: Option<u64>,
    },
    /// Positions must grow with the numbers.
    #[error("entry {0} stands in the journal before the entry that it follows")]
    Backwards(u64),
    /// An entry twice under two numbers.
    #[error("entry {0} has the id of an earlier one")]
    Twice(u64),
    /// A name doesn't fit its commitment, or the commitment is in no entry.
    #[error("the name `{0}` does not belong to the commitment that it is given for")]
    Name(String),
    /// The report has another hash than the bundle says.
    #[error("the report's bytes have the hash {found}, not {stated}")]
    ReportBytes {
        /// Of the bytes.
        found: Hash,
        /// In the bundle.
        stated: Hash,
    },
    /// The report's hash is not the last one that the entries name.
    #[error("the report {0} is not the one that the entries name")]
    ReportNotInJournal(Hash),
}

/// Reads a bundle from JSON.
///
/// # Errors
/// [`Fault::Shape`], [`Fault::Version`].
pub fn read(json: &[u8]) -> Result<Bundle, Fault> {
    let bundle: Bundle =
        serde_json::from_slice(json).map_err(|error| Fault::Shape(error.to_string()))?;
    if bundle.v == VERSION { Ok(bundle) } else { Err(Fault::Version(bundle.v)) }
}

/// Checks a bundle against a key and a checkpoint that were kept elsewhere; without them, against
/// itself only.
///
/// # Errors
/// Everything that is wrong with it.
pub fn verify(
    bundle: &Bundle,
    trusted_key: Option<&PublicKey>,
    kept: Option<&SignedCheckpoint>,
) -> Result<Verdict, Vec<Fault>> {
    let mut faults = Vec::new();
    if bundle.v != VERSION {
        faults.push(Fault::Version(bundle.v));
    }
    check_key(bundle, trusted_key, &mut faults);
    if let Some(kept) = kept {
        check_kept(bundle, kept, trusted_key, &mut faults);
    }
    let entries = check_entries(bundle, &mut faults);
    check_names(bundle, &mut faults);
    let report = check_report(bundle, &entries, &mut faults);
    let (Some(first), Some(last)) = (entries.first(), entries.last()) else {
        if bundle.entries.is_empty() {
            faults.push(Fault::Empty);
        }
        return Err(faults);
    };
    if !faults.is_empty() {
        return Err(faults);
    }
    let statement = &bundle.checkpoint.statement;
    Ok(Verdict {
        shop: bundle.shop,
        order: bundle.order,
        entries: entries.len() as u64,
        first_at: first.at,
        last_at: last.at,
        size: statement.size,
        root: statement.root,
        signed_at: statement.time,
        key_trusted: trusted_key.is_some(),
        anchored: kept.is_some(),
        report,
        report_read: bundle.report.as_ref().is_some_and(|report| report.text.is_some()),
    })
}

fn check_key(bundle: &Bundle, trusted: Option<&PublicKey>, faults: &mut Vec<Fault>) {
    if let Some(&trusted) = trusted
        && trusted != bundle.public_key
    {
        faults.push(Fault::OtherKey { given: bundle.public_key, trusted });
    }
    check_origin(bundle, &bundle.checkpoint, faults);
    if let Err(why) = bundle.checkpoint.check(&bundle.public_key) {
        faults.push(Fault::Checkpoint(why));
    }
}

fn check_origin(bundle: &Bundle, checkpoint: &SignedCheckpoint, faults: &mut Vec<Fault>) {
    let expected = origin(bundle.shop);
    if checkpoint.statement.origin != expected {
        faults.push(Fault::OtherJournal { given: checkpoint.statement.origin.clone(), expected });
    }
}

fn check_kept(
    bundle: &Bundle,
    kept: &SignedCheckpoint,
    trusted: Option<&PublicKey>,
    faults: &mut Vec<Fault>,
) {
    check_origin(bundle, kept, faults);
    if let Err(why) = kept.check(trusted.unwrap_or(&bundle.public_key)) {
        faults.push(Fault::KeptCheckpoint(why));
    }
    let (ours, theirs) = (&bundle.checkpoint.statement, &kept.statement);
    let (older, newer) = if ours.size <= theirs.size { (ours, theirs) } else { (theirs, ours) };
    let link =
        bundle.links.iter().find(|link| (link.older, link.newer) == (older.size, newer.size));
    let proof: &[Hash] = match link {
        Some(link) => &link.proof,
        None if older.size == newer.size => &[],
        None => {
            faults.push(Fault::NoLink { bundle: ours.size, kept: theirs.size });
            return;
        }
    };
    if let Err(why) = verify_consistency(older.size, newer.size, proof, &older.root, &newer.root) {
        faults.push(Fault::Forked { bundle: ours.size, kept: theirs.size, why });
    }
}

fn check_entries(bundle: &Bundle, faults: &mut Vec<Fault>) -> Vec<Entry> {
    let statement = &bundle.checkpoint.statement;
    let mut entries = Vec::with_capacity(bundle.entries.len());
    let mut ids = BTreeSet::new();
    let mut before = None;
    for (number, sealed) in (1..).zip(&bundle.entries) {
        let included = verify_inclusion(
            &leaf(sealed.bytes.as_bytes()),
            sealed.position,
            statement.size,
            &sealed.proof,
            &statement.root,
        );
        if let Err(why) = included {
            faults.push(Fault::NotIncluded { number, why });
        }
        if before.is_some_and(|before| before >= sealed.position) {
            faults.push(Fault::Backwards(number));
        }
        before = Some(sealed.position);
        match entry::read(sealed.bytes.as_bytes()) {
            Err(why) => faults.push(Fault::Entry { number, why }),
            Ok(entry) => {
                if entry.shop != bundle.shop || entry.order != Some(bundle.order) {
                    faults.push(Fault::Foreign(number));
                }
                if entry.order_seq != Some(number) {
                    faults.push(Fault::Gap { number, given: entry.order_seq });
                }
                if !ids.insert(entry.entry) {
                    faults.push(Fault::Twice(number));
                }
                entries.push(entry);
            }
        }
    }
    entries
}

fn check_names(bundle: &Bundle, faults: &mut Vec<Fault>) {
    for opening in &bundle.names {
        let mut salt = [0; SALT_BYTES];
        let person = opening.person.to_string();
        let fits = hex::decode_to_slice(&opening.salt, &mut salt).is_ok()
            && commitment(&salt, &opening.name) == opening.person
            && bundle.entries.iter().any(|sealed| sealed.bytes.contains(&person));
        if !fits {
            faults.push(Fault::Name(opening.name.clone()));
        }
    }
}

/// The last report that the entries name; the bundle's own must be that one.
fn check_report(bundle: &Bundle, entries: &[Entry], faults: &mut Vec<Fault>) -> Option<Hash> {
    let named = entries
        .iter()
        .rev()
        .find_map(|entry| entry.data.get(REPORT_MEMBER))
        .and_then(Value::as_str)
        .and_then(|text| text.parse::<Hash>().ok());
    if let Some(report) = &bundle.report {
        if named != Some(report.sha256) {
            faults.push(Fault::ReportNotInJournal(report.sha256));
        }
        if let Some(text) = &report.text {
            let found = digest(text.as_bytes());
            if found != report.sha256 {
                faults.push(Fault::ReportBytes { found, stated: report.sha256 });
            }
        }
    }
    named
}

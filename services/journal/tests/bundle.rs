//! An exported bundle is checked offline, and every way of touching it shows.

#![expect(clippy::unwrap_used, reason = "a test that cannot build its input must fail")]

use std::collections::HashMap;

use chrono::{TimeDelta, TimeZone, Utc};
use journal::bundle::{Bundle, Link, Opening, REPORT_MEMBER, Report, Sealed, VERSION};
use journal::checkpoint::{Checkpoint, SignedCheckpoint, origin};
use journal::entry::{self, By, Entry, Subject, canonical};
use journal::hash::{Hash, commitment, digest, leaf};
use journal::key::SealingKey;
use journal::proof::{NoProof, consistency_nodes, inclusion_nodes};
use journal::tree::{Frontier, NodeId};
use journal::verify::{Fault, read, verify};
use serde_json::{Map, json};
use uuid::Uuid;

const REPORT: &str = r#"{"order":"RO-1"}"#;

fn key() -> SealingKey {
    SealingKey::from_seed(&[1; 32])
}

/// A journal in which every third entry is of the order 2.
struct Journal {
    entries: Vec<Vec<u8>>,
    nodes: HashMap<NodeId, Hash>,
    roots: Vec<Hash>,
}

impl Journal {
    fn of(size: u32) -> Self {
        Self::with(size, |_| {})
    }

    fn with(size: u32, change: impl Fn(&mut Entry)) -> Self {
        let mut tree = Frontier::new();
        let mut journal =
            Self { entries: Vec::new(), nodes: HashMap::new(), roots: vec![tree.root()] };
        for number in 0..size {
            let mine = number % 3 == 0;
            let mut data = Map::new();
            if number == 9 {
                data.insert(REPORT_MEMBER.into(), json!(digest(REPORT.as_bytes())));
            }
            let mut entry = Entry {
                v: entry::VERSION,
                shop: Uuid::from_u128(1),
                entry: Uuid::from_u128(100 + u128::from(number)),
                at: Utc.with_ymd_and_hms(2026, 11, 26, 8, 0, 0).unwrap()
                    + TimeDelta::seconds(number.into()),
                kind: "task.started".into(),
                order: Some(Uuid::from_u128(if mine { 2 } else { 3 })),
                order_seq: Some(if mine { u64::from(number / 3) + 1 } else { 1 }),
                subject: Subject { kind: "task".into(), id: "t".into() },
                by: By {
                    person: Some(commitment(&[5; 16], "Ida Brandt")),
                    role: "technician".into(),
                    client: None,
                },
                data,
            };
            change(&mut entry);
            let bytes = canonical(&entry);
            for node in tree.append(&[leaf(&bytes)]) {
                journal.nodes.insert(node.id, node.hash);
            }
            journal.entries.push(bytes);
            journal.roots.push(tree.root());
        }
        journal
    }

    fn checkpoint(&self, size: u64) -> SignedCheckpoint {
        let statement = Checkpoint {
            origin: origin(Uuid::from_u128(1)),
            size,
            root: self.roots[usize::try_from(size).unwrap()],
            time: Utc.with_ymd_and_hms(2026, 11, 26, 9, 0, 0).unwrap(),
        };
        statement.sign(&key())
    }

    fn link(&self, older: u64, newer: u64) -> Link {
        let plan = consistency_nodes(older, newer).unwrap();
        Link { older, newer, proof: plan.fold(|id| self.nodes.get(&id).copied()).unwrap() }
    }

    fn bundle(&self) -> Bundle {
        let size = self.entries.len() as u64;
        let sealed = |position: u64| {
            let plan = inclusion_nodes(position, size).unwrap();
            let bytes = self.entries[usize::try_from(position).unwrap()].clone();
            Sealed {
                position,
                bytes: String::from_utf8(bytes).unwrap(),
                proof: plan.fold(|id| self.nodes.get(&id).copied()).unwrap(),
            }
        };
        Bundle {
            v: VERSION,
            shop: Uuid::from_u128(1),
            order: Uuid::from_u128(2),
            entries: (0..size).step_by(3).map(sealed).collect(),
            names: vec![Opening {
                person: commitment(&[5; 16], "Ida Brandt"),
                salt: hex::encode([5; 16]),
                name: "Ida Brandt".into(),
            }],
            report: Some(Report { sha256: digest(REPORT.as_bytes()), text: Some(REPORT.into()) }),
            checkpoint: self.checkpoint(size),
            links: Vec::new(),
            public_key: key().public(),
        }
    }
}

fn faults(change: impl FnOnce(&mut Bundle)) -> Vec<Fault> {
    let mut bundle = Journal::of(20).bundle();
    change(&mut bundle);
    verify(&bundle, Some(&key().public()), None).unwrap_err()
}

#[test]
fn an_untouched_bundle_holds_and_says_what_it_shows() {
    let journal = Journal::of(20);
    let json = serde_json::to_vec(&journal.bundle()).unwrap();
    let verdict = verify(&read(&json).unwrap(), Some(&key().public()), None).unwrap();
    assert_eq!((verdict.entries, verdict.size), (7, 20));
    assert_eq!(verdict.root, journal.roots[20]);
    assert_eq!(verdict.report, Some(digest(REPORT.as_bytes())));
    assert!(verdict.key_trusted && verdict.report_read && !verdict.anchored);
    assert_eq!((verdict.last_at - verdict.first_at).num_seconds(), 18);

    let alone = verify(&journal.bundle(), None, None).unwrap();
    assert!(!alone.key_trusted, "a bundle can't vouch for its own key");
}

#[test]
fn an_omitted_repeated_or_exchanged_entry_shows() {
    let omitted = faults(|bundle| drop(bundle.entries.remove(2)));
    assert_eq!(omitted[0], Fault::Gap { number: 3, given: Some(4) });
    let repeated = faults(|bundle| {
        let again = bundle.entries[1].clone();
        bundle.entries.insert(2, again);
    });
    assert!(repeated.contains(&Fault::Twice(3)));
    let exchanged = faults(|bundle| bundle.entries.swap(1, 2));
    assert!(exchanged.contains(&Fault::Backwards(3)));
    assert_eq!(faults(|bundle| bundle.entries.clear()).last(), Some(&Fault::Empty));
}

#[test]
fn a_changed_entry_is_not_in_the_journal() {
    let changed = faults(|bundle| {
        let bytes = &mut bundle.entries[3].bytes;
        *bytes = bytes.replace("task.started", "task.stopped");
    });
    assert_eq!(changed, [Fault::NotIncluded { number: 4, why: NoProof::WrongRoot }]);
    let foreign = faults(|bundle| bundle.order = Uuid::from_u128(9));
    assert_eq!(foreign.len(), 7);
    assert_eq!(foreign[0], Fault::Foreign(1));
}

#[test]
fn all_faults_are_told_at_once() {
    let all = faults(|bundle| {
        bundle.checkpoint.statement.size = 21;
        bundle.names[0].name = "Somebody Else".into();
        bundle.report.as_mut().unwrap().text = Some("{}".into());
    });
    assert!(matches!(all[0], Fault::Checkpoint(_)));
    assert!(all.contains(&Fault::Name("Somebody Else".into())));
    assert!(matches!(all.last(), Some(Fault::ReportBytes { .. })));
}

#[test]
fn only_the_report_that_the_journal_names_passes() {
    let other = faults(|bundle| {
        bundle.report = Some(Report { sha256: digest(b"{}"), text: Some("{}".into()) });
    });
    assert_eq!(other, [Fault::ReportNotInJournal(digest(b"{}"))]);
}

#[test]
fn a_bundle_signed_with_another_key_is_refused() {
    let forged = SealingKey::from_seed(&[2; 32]);
    let mut bundle = Journal::of(20).bundle();
    bundle.checkpoint = bundle.checkpoint.statement.sign(&forged);
    bundle.public_key = forged.public();
    verify(&bundle, None, None).unwrap();
    let refused = verify(&bundle, Some(&key().public()), None).unwrap_err();
    assert_eq!(refused, [Fault::OtherKey { given: forged.public(), trusted: key().public() }]);
}

#[test]
fn a_checkpoint_kept_elsewhere_anchors_the_bundle() {
    let journal = Journal::of(20);
    let longer = Journal::of(31);
    let mut bundle = journal.bundle();
    let same = verify(&bundle, None, Some(&journal.checkpoint(20))).unwrap();
    assert!(same.anchored);

    let unlinked = verify(&bundle, None, Some(&journal.checkpoint(11))).unwrap_err();
    assert_eq!(unlinked, [Fault::NoLink { bundle: 20, kept: 11 }]);
    bundle.links = vec![journal.link(11, 20), longer.link(20, 31)];
    assert!(verify(&bundle, None, Some(&journal.checkpoint(11))).unwrap().anchored);
    assert!(verify(&bundle, None, Some(&longer.checkpoint(31))).unwrap().anchored);
}

#[test]
fn a_journal_rewritten_by_its_keeper_shows_against_a_kept_checkpoint() {
    let honest = Journal::of(20);
    let rewritten = Journal::with(20, |entry| {
        if entry.order_seq == Some(4) {
            entry.kind = "task.passed".into();
        }
    });
    let mut bundle = rewritten.bundle();
    bundle.links = vec![rewritten.link(15, 20)];
    verify(&bundle, Some(&key().public()), None).unwrap();
    for size in [15, 20] {
        let faults =
            verify(&bundle, Some(&key().public()), Some(&honest.checkpoint(size))).unwrap_err();
        assert!(matches!(faults[..], [Fault::Forked { .. }]), "{faults:?}");
    }
}

#[test]
fn what_is_not_a_bundle_is_told_apart_from_a_bad_one() {
    assert!(matches!(read(b"{}"), Err(Fault::Shape(_))));
    let mut value = serde_json::to_value(Journal::of(4).bundle()).unwrap();
    value["v"] = json!(2);
    assert!(matches!(read(value.to_string().as_bytes()), Err(Fault::Version(2))));
}

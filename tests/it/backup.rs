//! A dump of the database holds everything: the files, and the journal, which goes on where it ended.

use contract::journal::{CheckpointView, EntryView, ProofView};
use contract::list::Page;
use domain::role::Role;
use journal::hash::Hash;
use journal::proof::verify_consistency;

use crate::attachments::{PIXEL, photo, taken};
use crate::harness::Client;
use crate::planning::checkpoint;
use crate::worker::{read, yard};

async fn entries(auditor: &Client) -> Vec<EntryView> {
    let page: Page<EntryView> = read(auditor.get("/v1/journal?limit=500").await.expect(200));
    page.items
}

#[tokio::test]
async fn a_dump_restores_the_files_and_a_journal_that_goes_on_and_only_grows() {
    let yard = yard().await;
    let (order, held) = taken(&yard).await;
    let shown = yard.ada.show(&held, vec![photo(&yard, "image/png", PIXEL).await]).await;
    let file = format!("/v1/attachments/{}", shown["items"][0]["id"].as_str().expect("an id"));
    let auditor = yard.shop.as_role(Role::Auditor);
    let written = i64::try_from(entries(&auditor).await.len()).expect("few");
    let before: CheckpointView = checkpoint(&yard.shop, written).await;
    let known = entries(&auditor).await;

    let restored = yard.shop.restored().await;
    let auditor = restored.as_role(Role::Auditor);
    let same = entries(&auditor).await;
    let canonical = |all: &[EntryView]| -> Vec<_> {
        all.iter().map(|entry| (entry.position, entry.canonical.clone())).collect()
    };
    assert!(canonical(&same).starts_with(&canonical(&known)), "every entry, where it stood");
    let bytes = auditor.request(reqwest::Method::GET, &file).send().await.expect("answers");
    let bytes = bytes.error_for_status().expect("is there").bytes().await.expect("bytes");
    assert_eq!(hex::encode(<sha2::Sha256 as sha2::Digest>::digest(&bytes)), PIXEL.1);
    let report = auditor.get(&format!("/v1/orders/{order}/report")).await.expect(200);
    assert!(report.to_string().contains(PIXEL.1));
    // The technician goes on where the work stood, and the old checkpoint is a beginning of the new one.
    let ada = yard.ada.at(&restored);
    ada.prepare(&held).await;
    ada.start(&held).await;
    let after = checkpoint(&restored, before.size + 1).await;
    let path = format!("/v1/journal/proofs?from={}&size={}", before.size, after.size);
    let proof: ProofView = read(auditor.get(&path).await.expect(200));
    let hashes: Vec<Hash> = proof.hashes.iter().map(|h| h.parse().expect("a hash")).collect();
    let root = |view: &CheckpointView| view.root.parse::<Hash>().expect("a hash");
    let size = |view: &CheckpointView| u64::try_from(view.size).expect("not negative");
    verify_consistency(size(&before), size(&after), &hashes, &root(&before), &root(&after))
        .expect("it only grew");
}

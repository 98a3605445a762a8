//! The README's stories, run as they are written: what a newcomer copies must work.

use std::process::Stdio;

use domain::role::Role;
use serde_json::Value;
use tokio::process::Command;
use uuid::Uuid;

use crate::harness::{self, Shop};

const README: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/../README.md");

/// Where the stories put their files.
const FOLDER: &str = env!("CARGO_TARGET_TMPDIR");

/// Seconds after which a story hangs.
const PATIENCE: u64 = 120;

#[tokio::test]
async fn the_stories_of_the_readme_go_as_they_are_written() {
    let readme = std::fs::read_to_string(README).expect("README.md is there");
    let shop = harness::shop().await;
    let dispatcher = shop.as_role(Role::Dispatcher);

    tell(&shop, &readme, "opening", None).await;
    let technicians = dispatcher.get("/v1/technicians").await.expect(200);
    let technician = technicians["items"][0]["id"].as_str().and_then(|id| id.parse().ok());
    let technician = technician.expect("the opening adds a technician");

    let told = tell(&shop, &readme, "shop-system", Some(technician)).await;
    assert!(told.contains("rain_light_sensor_initialisation"), "it reads the task:\n{told}");
    assert!(told.contains("features."), "it reads the question:\n{told}");
    let order = order(&shop).await;
    assert_eq!(order["state"], "open");
    assert_eq!(
        order["progress"]["questions"], 0,
        "nothing is open once the question is answered: {order:#}"
    );

    let told = tell(&shop, &readme, "dispatcher", Some(technician)).await;
    assert!(told.contains("<svg"), "the board is a picture:\n{told}");
    assert!(told.contains("\"moved\""), "the trial compares:\n{told}");
    let away = dispatcher.get("/v1/absences").await.expect(200);
    assert_eq!(away["items"], serde_json::json!([]), "she is back");

    let told = tell(&shop, &readme, "technician", Some(technician)).await;
    assert!(told.contains("/problems/precondition-not-met"), "a refusal is seen:\n{told}");
    let order = self::order(&shop).await;
    assert_eq!(order["tasks"][0]["state"], "passed", "{order:#}");
    assert_eq!(order["leaving"]["allowed"], true, "{order:#}");
    assert_eq!(order["leaving"]["confidence"], "certain", "{order:#}");

    let told = tell(&shop, &readme, "auditor", Some(technician)).await;
    let order = self::order(&shop).await;
    assert_eq!(order["state"], "released", "{order:#}");
    assert!(told.contains("in the journal: {"), "the proof is checked:\n{told}");
    let report = std::fs::read_to_string(format!("{FOLDER}/report.html")).expect("a report");
    assert!(report.contains("RO-20417"), "the report is of the order:\n{report}");
}

/// The order of the stories.
async fn order(shop: &Shop) -> Value {
    let desk = shop.as_role(Role::Integration);
    let page = desk.get("/v1/orders?number=RO-20417").await.expect(200);
    let id = page["items"][0]["id"].as_str().expect("the order is there").to_owned();
    desk.get(&format!("/v1/orders/{id}")).await.expect(200)
}

/// Runs a story behind the helpers that every story begins with, and gives what it printed.
async fn tell(shop: &Shop, readme: &str, name: &str, technician: Option<Uuid>) -> String {
    let script = format!("{}\n{}", block(readme, "helpers"), block(readme, name));
    let token = |role: Role| shop.as_role(role).token();
    let mut bash = Command::new("bash");
    bash.args(["-euo", "pipefail", "-c", &script])
        .env("BASE", shop.base())
        .env("DESK", token(Role::Integration))
        .env("DISPATCH", token(Role::Dispatcher))
        .env("AUDIT", token(Role::Auditor))
        .current_dir(FOLDER)
        .stdin(Stdio::null())
        .kill_on_drop(true);
    if let Some(id) = technician {
        bash.env("TECHNICIAN", id.to_string()).env("TECH", shop.as_technician(id).token());
    }
    needs("curl").await;
    needs("python3").await;
    let patience = std::time::Duration::from_secs(PATIENCE);
    let done = tokio::time::timeout(patience, bash.output()).await;
    let done = done.unwrap_or_else(|_| panic!("the story `{name}` hangs")).expect("bash runs");
    let (out, err) = (String::from_utf8_lossy(&done.stdout), String::from_utf8_lossy(&done.stderr));
    assert!(done.status.success(), "the story `{name}` ends with {}:\n{out}\n{err}", done.status);
    out.into_owned()
}

/// Fails with the way out when a program is missing.
async fn needs(program: &str) {
    let found = Command::new(program).arg("--version").output().await;
    assert!(
        found.is_ok_and(|found| found.status.success()),
        "the stories of the README need `{program}`: install it and run this test again"
    );
}

/// The `sh` block behind the comment `<!-- story: name -->`.
fn block<'a>(readme: &'a str, name: &str) -> &'a str {
    let mark = format!("<!-- story: {name} -->\n```sh\n");
    let (_, behind) =
        readme.split_once(&mark).unwrap_or_else(|| panic!("README.md has no story `{name}`"));
    let (block, _) = behind.split_once("\n```\n").expect("the block ends");
    block
}

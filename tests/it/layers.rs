//! Who may depend on whom: the table of the house, against what cargo says.

use std::collections::{BTreeMap, BTreeSet};
use std::process::Command;

use serde_json::Value;

/// Every crate of ours, with those of ours that it may use.
const EDGES: &[(&str, &[&str])] = &[
    ("domain", &[]),
    ("contract", &["domain"]),
    ("derivation", &["domain"]),
    ("evidence", &["domain"]),
    ("planner", &["domain"]),
    ("journal", &["domain"]),
    ("paper", &["domain"]),
    ("store", &["domain"]),
    (
        "workflow",
        &["domain", "contract", "derivation", "evidence", "planner", "journal", "paper", "store"],
    ),
    ("api", &["domain", "contract", "workflow"]),
    ("cluster", &[]),
    ("demo", &["contract", "domain"]),
    (
        "bayproof",
        &[
            "api",
            "cluster",
            "contract",
            "demo",
            "derivation",
            "domain",
            "evidence",
            "journal",
            "paper",
            "planner",
            "store",
            "workflow",
        ],
    ),
];

/// Crates of others that reach outside the process (files, sockets, clocks, other programs), with those of ours that
/// may use them.
const REACHING: &[(&str, &[&str])] = &[
    ("actix-web", &["api", "bayproof"]),
    ("reqwest", &["demo", "bayproof"]),
    ("rustix", &["bayproof", "cluster"]),
    ("sqlx", &["store"]),
    ("tokio", &["api", "bayproof", "demo", "workflow"]),
    ("tokio-util", &["bayproof", "demo"]),
    ("tracing-actix-web", &["api"]),
    ("tracing-subscriber", &["bayproof", "demo"]),
    ("utoipa-actix-web", &["api"]),
    ("utoipa-swagger-ui", &["api"]),
];

#[test]
fn no_crate_uses_what_its_floor_may_not() {
    let house = house();
    let ours: BTreeSet<&str> = house.keys().map(String::as_str).collect();
    let known: BTreeSet<&str> = EDGES.iter().map(|(name, _)| *name).collect();
    let acceptance = BTreeSet::from(["acceptance"]);
    assert_eq!(
        ours.difference(&acceptance).copied().collect::<BTreeSet<_>>(),
        known,
        "a crate is in no row"
    );
    for (name, allowed) in EDGES {
        for used in &house[*name] {
            let used = used.as_str();
            if ours.contains(used) {
                assert!(allowed.contains(&used), "{name} must not use {used}");
            }
            if let Some((_, users)) = REACHING.iter().find(|(outside, _)| *outside == used) {
                assert!(users.contains(name), "{name} must not use {used}, which reaches outside");
            }
        }
    }
}

/// Each of our crates with everything it depends on when it is built, not when it is tested.
fn house() -> BTreeMap<String, BTreeSet<String>> {
    let cargo = std::env::var_os("CARGO").unwrap_or_else(|| "cargo".into());
    let run = Command::new(cargo)
        .args(["metadata", "--format-version", "1", "--no-deps", "--offline"])
        .current_dir(env!("CARGO_MANIFEST_DIR"))
        .output()
        .expect("cargo runs");
    assert!(run.status.success(), "{}", String::from_utf8_lossy(&run.stderr));
    let metadata: Value = serde_json::from_slice(&run.stdout).expect("cargo writes JSON");
    let text = |value: &Value| value.as_str().expect("text").to_owned();
    let packages = metadata["packages"].as_array().expect("packages");
    packages
        .iter()
        .map(|package| {
            let uses = package["dependencies"].as_array().expect("dependencies").iter();
            let uses = uses.filter(|used| used["kind"].is_null()).map(|used| text(&used["name"]));
            (text(&package["name"]), uses.collect())
        })
        .collect()
}

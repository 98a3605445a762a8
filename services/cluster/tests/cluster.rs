//! A private PostgreSQL, really made and started.

use std::fs;
use std::io::{BufRead, BufReader};
use std::os::unix::fs::{MetadataExt, PermissionsExt};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

use cluster::{Cluster, ClusterError, DATABASE, Role, Settings, find_running};

/// A folder that is removed at the end.
struct Place(PathBuf);

impl Place {
    fn new(name: &str) -> Self {
        let path = std::env::temp_dir().join(format!("bayproof-{}-{name}", std::process::id()));
        fs::create_dir_all(&path).expect("makes a folder");
        Self(path)
    }

    fn settings(&self) -> Settings {
        Settings { folder: Some(self.0.clone()), ..Settings::throwaway() }
    }
}

impl Drop for Place {
    fn drop(&mut self) {
        let _ = fs::remove_dir_all(&self.0);
    }
}

fn sql(url: &str, text: &str) -> String {
    let said = Command::new("psql").args(["-XAtqc", text, url]).output().expect("psql runs");
    String::from_utf8_lossy(&[said.stdout, said.stderr].concat()).trim().to_owned()
}

fn within_seconds(seconds: u64, what: impl Fn() -> bool) -> bool {
    let deadline = Instant::now() + Duration::from_secs(seconds);
    while Instant::now() < deadline {
        if what() {
            return true;
        }
        std::thread::sleep(Duration::from_millis(20));
    }
    false
}

/// Whether a server works on the folder: the last thing that one does is to remove its note.
fn is_served(folder: &Path) -> bool {
    folder.join("postgres/data/postmaster.pid").exists()
}

/// A process of its own that holds the cluster in the folder, and the owner's URL to it.
fn hold(folder: &Path) -> (Child, String) {
    let tests = std::env::current_exe().expect("has a path");
    let hold = tests.ancestors().nth(2).expect("is in deps").join("examples/hold");
    let mut child = Command::new(hold).arg(folder).stdout(Stdio::piped()).spawn().expect("starts");
    let mut url = String::new();
    let output = child.stdout.take().expect("is piped");
    BufReader::new(output).read_line(&mut url).expect("says its address");
    (child, url.trim().to_owned())
}

#[test]
fn a_new_cluster_has_two_roles_without_powers_and_no_port() {
    let cluster = Cluster::start(&Settings::throwaway()).expect("starts");
    let service = cluster.url(Role::Service, DATABASE);
    let powers = "SELECT rolname, rolcanlogin, rolcreatedb, \
                  rolsuper OR rolbypassrls OR rolcreaterole OR rolreplication FROM pg_roles \
                  WHERE rolname LIKE 'bayproof%' ORDER BY 1";
    assert_eq!(sql(&service, powers), "bayproof_owner|t|t|f\nbayproof_service|t|f|f");
    assert_eq!(sql(&service, "SHOW listen_addresses"), "");
    assert_eq!(sql(&service, "SELECT current_user"), "bayproof_service");
    let refused = sql(&service, "CREATE TABLE t (n int)");
    assert!(refused.contains("permission denied for schema public"), "{refused}");
    assert_eq!(sql(&cluster.url(Role::Owner, DATABASE), "CREATE TABLE t (n int)"), "");

    let sockets = fs::metadata(cluster.address().sockets()).expect("is there");
    assert_eq!(sockets.permissions().mode() & 0o777, 0o700);
    assert_ne!(sockets.uid(), 0, "PostgreSQL never runs as root");
}

#[test]
fn a_test_gets_a_copy_of_a_template() {
    let cluster = Cluster::start(&Settings::throwaway()).expect("starts");
    let owner = |database: &str| cluster.url(Role::Owner, database);
    cluster.create_database("template_a", None).expect("is made");
    assert_eq!(sql(&owner("template_a"), "CREATE TABLE kept AS SELECT 7 AS n"), "");
    cluster.create_database("copy_1", Some("template_a")).expect("is copied");
    assert_eq!(sql(&owner("copy_1"), "SELECT n FROM kept"), "7");
    let twice = cluster.create_database("copy_1", None).expect_err("is there already").to_string();
    assert!(twice.contains(r#"database "copy_1" already exists"#), "{twice}");
}

#[test]
fn what_was_stored_is_there_at_the_next_start() {
    let place = Place::new("reuse");
    let cluster = Cluster::start(&place.settings()).expect("starts");
    let owner = cluster.url(Role::Owner, DATABASE);
    assert_eq!(sql(&owner, "CREATE TABLE kept AS SELECT 7 AS n"), "");
    cluster.stop().expect("stops");
    assert!(!is_served(&place.0));
    let cluster = Cluster::start(&place.settings()).expect("starts again");
    assert_eq!(sql(&cluster.url(Role::Owner, DATABASE), "SELECT n FROM kept"), "7");
}

#[test]
fn a_killed_server_comes_back_with_what_it_had_acknowledged() {
    let place = Place::new("killed");
    let settings = Settings { durable: true, ..place.settings() };
    let mut cluster = Cluster::start(&settings).expect("starts");
    let owner = cluster.url(Role::Owner, DATABASE);
    assert_eq!(sql(&owner, "SHOW fsync"), "on");
    assert_eq!(sql(&owner, "CREATE TABLE kept AS SELECT 7 AS n"), "");
    cluster.kill();
    assert_ne!(sql(&owner, "SELECT n FROM kept"), "7");
    cluster.restart().expect("starts again");
    assert_eq!(sql(&owner, "SELECT n FROM kept"), "7");
}

#[test]
fn a_killed_process_leaves_no_server_behind_and_its_folder_is_free_again() {
    let place = Place::new("orphan");
    let (mut holder, url) = hold(&place.0);
    assert_eq!(sql(&url, "SELECT 1"), "1");
    holder.kill().expect("is killed with SIGKILL");
    holder.wait().expect("has ended");
    assert!(within_seconds(10, || !is_served(&place.0)), "a server was left behind");
    Cluster::start(&place.settings()).expect("starts in the same folder");
}

#[test]
fn a_second_process_is_told_who_uses_the_folder_and_can_find_the_server() {
    let place = Place::new("in-use");
    assert_eq!(find_running(&place.0).expect("looks"), None);
    let (mut holder, url) = hold(&place.0);
    let refused = Cluster::start(&place.settings()).expect_err("is in use");
    assert!(matches!(&refused, ClusterError::InUse { holder: pid, .. }
        if *pid == holder.id().to_string()));
    let address = find_running(&place.0).expect("looks").expect("runs");
    assert_eq!(address.url(Role::Owner, DATABASE), url);
    holder.kill().expect("is killed");
    holder.wait().expect("has ended");
    assert!(within_seconds(10, || !is_served(&place.0)));
}

#[test]
fn a_note_of_a_dead_server_does_not_keep_a_new_one_from_starting() {
    let place = Place::new("stale");
    Cluster::start(&place.settings()).expect("starts").stop().expect("stops");
    // Our own pid: alive, but no server.
    let data = place.0.join("postgres/data");
    let note = format!("{}\n{}\n", std::process::id(), data.display());
    fs::write(data.join("postmaster.pid"), note).expect("writes");
    Cluster::start(&place.settings()).expect("starts in spite of the note");
}

#[test]
fn a_folder_too_deep_for_a_socket_gets_a_short_one_for_it() {
    let place = Place::new("deep");
    let folder = Some(place.0.join("a-name-of-thirty-characters-xx/".repeat(4)));
    let cluster = Cluster::start(&Settings { folder, ..place.settings() }).expect("starts");
    let sockets = cluster.address().sockets().to_owned();
    assert!(!sockets.starts_with(&place.0));
    assert_eq!(fs::metadata(&sockets).expect("is there").permissions().mode() & 0o777, 0o700);
    assert_eq!(sql(&cluster.url(Role::Service, DATABASE), "SELECT 1"), "1");
    cluster.stop().expect("stops");
    fs::remove_dir(sockets).expect("is empty");
}

#[test]
fn without_programs_the_message_names_the_package() {
    let place = Place::new("no-programs");
    let programs = Some(place.0.join("nothing-here"));
    let error =
        Cluster::start(&Settings { programs, ..place.settings() }).expect_err("no programs");
    let text = error.to_string();
    assert!(text.contains("nothing-here"), "{text}");
    assert!(text.contains("apt-get install postgresql"), "{text}");
}

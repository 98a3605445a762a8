//! One running service, and the PostgreSQL below all of them.

use std::io::Write as _;
use std::path::Path;
use std::process::{Command, Stdio};
use std::sync::atomic::{AtomicU32, Ordering};
use std::sync::mpsc;
use std::thread::JoinHandle;

use actix_web::{HttpServer, rt};
use api::auth::TokenKeys;
use cluster::{Cluster, Role, Settings};
use sqlx::{AssertSqlSafe, Connection as _, PgConnection};
use store::Db;
use tokio::sync::OnceCell;
use tokio_util::sync::CancellationToken;
use workflow::flow::Flow;

/// Secret of the tokens in tests.
pub(super) const SECRET: &[u8] = b"a secret of the tests, of more than 32 bytes";

/// A running service.
pub(super) struct Server {
    pub(super) base: String,
    pub(super) service_url: String,
    pub(super) owner_url: String,
    pub(super) keys: TokenKeys,
    database: String,
    stop: CancellationToken,
    thread: Option<JoinHandle<()>>,
}

/// PostgreSQL for this process, with a migrated database to copy.
struct Postgres {
    private: Option<Cluster>,
    named: Option<String>,
    template: String,
}

static POSTGRES: OnceCell<Postgres> = OnceCell::const_new();
static MADE: AtomicU32 = AtomicU32::new(0);

impl Postgres {
    async fn get() -> &'static Self {
        POSTGRES.get_or_init(Self::start).await
    }

    async fn start() -> Self {
        let named = std::env::var("TEST_DATABASE_URL").ok().filter(|url| !url.is_empty());
        let private = match named {
            Some(_) => None,
            None => Some(Cluster::start(&Settings::throwaway()).expect("PostgreSQL starts")),
        };
        let template = format!("bayproof_template_{}", std::process::id());
        let postgres = Self { private, named, template };
        postgres.run(&format!("DROP DATABASE IF EXISTS {}", postgres.template)).await;
        postgres.run(&format!("CREATE DATABASE {}", postgres.template)).await;
        Db::migrate(&postgres.url(Role::Owner, &postgres.template)).await.expect("migrates");
        postgres
    }

    fn url(&self, role: Role, database: &str) -> String {
        match (&self.private, &self.named) {
            (Some(private), _) => private.url(role, database),
            (None, Some(named)) => {
                let (server, _) = named.rsplit_once('/').expect("a URL with a database");
                format!("{}/{database}", server.replace("bayproof_owner", role.name()))
            }
            (None, None) => unreachable!("one of the two is there"),
        }
    }

    async fn run(&self, sql: &str) {
        let mut owner =
            PgConnection::connect(&self.url(Role::Owner, "postgres")).await.expect("connects");
        sqlx::raw_sql(AssertSqlSafe(sql)).execute(&mut owner).await.expect("the owner may");
        owner.close().await.expect("closes");
    }
}

impl Server {
    /// Starts a service on a database of its own.
    pub(super) async fn start() -> Self {
        let postgres = Postgres::get().await;
        let database = new_name();
        postgres.run(&format!("CREATE DATABASE {database} TEMPLATE {}", postgres.template)).await;
        Self::start_on(postgres, database).await
    }

    /// Starts another service on what a dump of this one's database restores.
    pub(super) async fn start_restored(&self) -> Self {
        let postgres = Postgres::get().await;
        let database = new_name();
        postgres.run(&format!("CREATE DATABASE {database} TEMPLATE template0")).await;
        // Row security holds for the owner too, so that only a superuser can dump.
        let url = |database: &str| postgres.url(Role::Superuser, database);
        let mut superuser = PgConnection::connect(&url("postgres")).await.expect("connects");
        let folder: String =
            sqlx::query_scalar("SELECT setting FROM pg_config WHERE name = 'BINDIR'")
                .fetch_one(&mut superuser)
                .await
                .expect("tells where its programs are");
        let (from, to) = (url(&self.database), url(&database));
        tokio::task::spawn_blocking(move || dump_and_restore(Path::new(&folder), &from, &to))
            .await
            .expect("restores");
        Self::start_on(postgres, database).await
    }

    async fn start_on(postgres: &Postgres, database: String) -> Self {
        let service_url = postgres.url(Role::Service, &database);
        let owner_url = postgres.url(Role::Owner, &database);
        let keys = TokenKeys::new(SECRET).expect("long enough");
        let stop = CancellationToken::new();
        let (tell, told) = mpsc::channel();
        let thread = std::thread::spawn({
            let (url, keys, stop) = (service_url.clone(), keys.clone(), stop.clone());
            move || rt::System::new().block_on(serve(&url, keys, stop, &tell))
        });
        let base = tokio::task::spawn_blocking(move || told.recv().expect("the service starts"))
            .await
            .expect("waits");
        Self { base, service_url, owner_url, keys, database, stop, thread: Some(thread) }
    }
}

fn new_name() -> String {
    let number = MADE.fetch_add(1, Ordering::Relaxed);
    format!("bayproof_test_{}_{number}", std::process::id())
}

fn dump_and_restore(programs: &Path, from: &str, to: &str) {
    let dump = Command::new(programs.join("pg_dump")).args(["--format=custom", from]).output();
    let dump = dump.expect("pg_dump runs");
    assert!(dump.status.success(), "{}", String::from_utf8_lossy(&dump.stderr));
    let mut restore = Command::new(programs.join("pg_restore"))
        .args(["--exit-on-error", "--dbname", to])
        .stdin(Stdio::piped())
        .spawn()
        .expect("pg_restore runs");
    let mut pipe = restore.stdin.take().expect("a pipe");
    pipe.write_all(&dump.stdout).expect("reads the dump");
    drop(pipe);
    assert!(restore.wait().expect("ends").success(), "pg_restore ended badly");
}

async fn serve(url: &str, keys: TokenKeys, stop: CancellationToken, tell: &mpsc::Sender<String>) {
    let db = Db::connect(url, 8).await.expect("connects");
    let flow = Flow::new(db.clone()).sealing_with(journal::key::SealingKey::from_seed(&[7; 32]));
    let duties = bayproof::duties::begin(&flow, &stop);
    let shared = api::Shared::new(flow, keys);
    let server = HttpServer::new(move || api::app(shared.clone()))
        .workers(2)
        .keep_alive(api::KEEP_ALIVE)
        .shutdown_timeout(2)
        .shutdown_signal(stop.cancelled_owned())
        .bind("127.0.0.1:0")
        .expect("binds");
    tell.send(format!("http://{}", server.addrs()[0])).expect("somebody listens");
    server.run().await.expect("serves");
    for duty in duties {
        duty.await.expect("the duty ends");
    }
    db.close().await;
}

impl Drop for Server {
    fn drop(&mut self) {
        self.stop.cancel();
        let ended = self.thread.take().map(JoinHandle::join);
        // Without force PostgreSQL sends its own vacuum worker away, which the owner can't.
        let drop_database = format!("DROP DATABASE IF EXISTS {}", self.database);
        let dropped = std::thread::spawn(move || {
            let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build();
            runtime.expect("starts").block_on(async {
                Postgres::get().await.run(&drop_database).await;
            });
        });
        let dropped = dropped.join();
        if !std::thread::panicking() {
            assert!(ended.is_some_and(|ended| ended.is_ok()), "the service ended badly");
            assert!(dropped.is_ok(), "the database could not be dropped");
        }
    }
}

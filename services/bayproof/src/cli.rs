//! Commands, flags and their environment variables.

use std::net::SocketAddr;
use std::path::PathBuf;

use clap::{Args, Parser, Subcommand, ValueEnum};
use domain::role::Role;
use uuid::Uuid;

/// Tells a repair shop which relearns, calibrations and tests a repair makes necessary, plans them, and proves them.
#[derive(Debug, Parser)]
#[command(name = "bayproof", version, about)]
pub(crate) struct Cli {
    /// What to do.
    #[command(subcommand)]
    pub(crate) command: Command,
}

/// The commands.
#[derive(Debug, Subcommand)]
pub(crate) enum Command {
    /// Run the service
    Serve(ServeSettings),
    /// Play an invented shop's day on a private PostgreSQL, then keep serving
    Demo(DemoSettings),
    /// Print a token for trying, signed with the development key
    Token(TokenSettings),
    /// Shops
    Shop {
        /// What to do with it.
        #[command(subcommand)]
        command: ShopCommand,
    },
    /// Derive what one order makes necessary, without a server or a database
    Derive(DeriveSettings),
    /// Plan an instance from a file, by the engine of the service
    Plan(PlanSettings),
    /// Catalogue documents
    Catalogue {
        /// What to do with it.
        #[command(subcommand)]
        command: CatalogueCommand,
    },
    /// Print the contract, an `OpenAPI` 3.1 document
    Openapi,
    /// Print the table of flags and environment variables
    #[command(hide = true)]
    Flags,
}

/// What can be done with shops.
#[derive(Debug, Subcommand)]
pub(crate) enum ShopCommand {
    /// Make a shop with a copy of the starter catalogue; prints its id and its owner's first token
    Add(ShopSettings),
}

/// What can be done with catalogue documents.
#[derive(Debug, Subcommand)]
pub(crate) enum CatalogueCommand {
    /// Tell every fault of a document, with line and column
    Check {
        /// The document, YAML or JSON; `-` is standard input
        file: PathBuf,
    },
}

/// Settings of `serve`.
#[derive(Debug, Args)]
pub(crate) struct ServeSettings {
    /// Where to listen
    #[arg(long, env = "BAYPROOF_LISTEN", value_name = "ADDRESS", default_value = "127.0.0.1:8080")]
    pub(crate) listen: SocketAddr,
    /// Threads that answer requests
    #[arg(long, env = "BAYPROOF_WORKERS", value_name = "N", default_value_t = 2,
          value_parser = clap::value_parser!(u16).range(1..=256))]
    pub(crate) workers: u16,
    /// Seed the shop `demo`, unless it is there
    #[arg(long, env = "BAYPROOF_WITH_DEMO_SHOP")]
    pub(crate) with_demo_shop: bool,
    #[command(flatten)]
    pub(crate) database: DatabaseSettings,
    #[command(flatten)]
    pub(crate) keys: KeySettings,
    /// Seed of the Ed25519 key that signs checkpoints, 64 hexadecimal digits; without it, kept in the data folder
    #[arg(long, env = "BAYPROOF_SIGNING_KEY", value_name = "SEED", hide_env_values = true)]
    pub(crate) signing_key: Option<String>,
    #[command(flatten)]
    pub(crate) log: LogSettings,
}

/// Settings of `demo`.
#[derive(Debug, Args)]
pub(crate) struct DemoSettings {
    /// End after the day: with 0 only if every order reached the state that it was to reach
    #[arg(long, env = "BAYPROOF_DEMO_EXIT")]
    pub(crate) exit: bool,
    /// Where to listen
    #[arg(long, env = "BAYPROOF_LISTEN", value_name = "ADDRESS", default_value = "127.0.0.1:8080")]
    pub(crate) listen: SocketAddr,
    /// Folder of the private PostgreSQL and of keys; without it, `demo` in the user's own
    #[arg(long, env = "BAYPROOF_DATA", value_name = "FOLDER")]
    pub(crate) data: Option<PathBuf>,
    /// Folder of PostgreSQL's programs; without it, they are looked for
    #[arg(long, env = "BAYPROOF_PG_BIN", value_name = "FOLDER")]
    pub(crate) pg_bin: Option<PathBuf>,
    /// How many times faster than real time the invented day goes
    #[arg(long, env = "BAYPROOF_DEMO_PACE", value_name = "N", default_value_t = 60,
          value_parser = clap::value_parser!(u32).range(1..=240))]
    pub(crate) pace: u32,
    /// What is logged: a level, or levels by part
    #[arg(long, env = "BAYPROOF_DEMO_LOG", value_name = "FILTER", default_value = "warn")]
    pub(crate) log: String,
}

/// Settings of `plan`.
#[derive(Debug, Args)]
pub(crate) struct PlanSettings {
    /// A shop day (`shop-instance/1` JSON) or a flexible job shop in the usual text format; `-` is standard input
    pub(crate) instance: PathBuf,
    /// Seconds of processor time for each thread
    #[arg(long, env = "BAYPROOF_PLAN_SECONDS", value_name = "S", default_value_t = 1.0, value_parser = seconds,
          allow_negative_numbers = true)]
    pub(crate) seconds: f64,
    /// Candidates that each thread looks at, instead of seconds: the same number gives the same plan
    #[arg(long, env = "BAYPROOF_PLAN_ITERATIONS", value_name = "N")]
    pub(crate) iterations: Option<u64>,
    /// Threads
    #[arg(long, env = "BAYPROOF_PLAN_THREADS", value_name = "N", default_value_t = 1, value_parser = clap::value_parser!(u16).range(1..=64))]
    pub(crate) threads: u16,
    /// Seed of the search
    #[arg(long, env = "BAYPROOF_PLAN_SEED", value_name = "N", default_value_t = 1)]
    pub(crate) seed: u64,
}

/// Which database.
#[derive(Debug, Clone, Args)]
pub(crate) struct DatabaseSettings {
    /// The service role's database; without it, `DATABASE_URL`, or else a private PostgreSQL in the data folder
    #[arg(long, env = "BAYPROOF_DATABASE_URL", value_name = "URL", hide_env_values = true)]
    pub(crate) database_url: Option<String>,
    /// The same database as the owner role, to migrate it; without it, it must have been migrated
    #[arg(long, env = "BAYPROOF_MIGRATE_URL", value_name = "URL", hide_env_values = true)]
    pub(crate) migrate_url: Option<String>,
    /// Connections to the database
    #[arg(long, env = "BAYPROOF_CONNECTIONS", value_name = "N", default_value_t = 16,
          value_parser = clap::value_parser!(u32).range(2..=500))]
    pub(crate) connections: u32,
    /// Folder of PostgreSQL's programs, for the private one; without it, they are looked for
    #[arg(long, env = "BAYPROOF_PG_BIN", value_name = "FOLDER")]
    pub(crate) pg_bin: Option<PathBuf>,
    #[command(flatten)]
    pub(crate) data: DataSettings,
}

/// Where things are kept.
#[derive(Debug, Clone, Args)]
pub(crate) struct DataSettings {
    /// Folder of the private PostgreSQL and of keys; without it, one of the user's own
    #[arg(long, env = "BAYPROOF_DATA", value_name = "FOLDER")]
    pub(crate) data: Option<PathBuf>,
}

/// The key of tokens.
#[derive(Debug, Clone, Args)]
pub(crate) struct KeySettings {
    /// Secret that tokens are signed with, at least 32 bytes; without it, a development key in the data folder
    #[arg(long, env = "BAYPROOF_TOKEN_SECRET", value_name = "SECRET", hide_env_values = true)]
    pub(crate) token_secret: Option<String>,
}

/// How to write the log.
#[derive(Debug, Clone, Args)]
pub(crate) struct LogSettings {
    /// Form of the log
    #[arg(long, env = "BAYPROOF_LOG_FORMAT", value_name = "FORM", value_enum, default_value_t = LogFormat::Text)]
    pub(crate) log_format: LogFormat,
    /// What is logged: a level, or levels by part such as `warn,workflow=debug`
    #[arg(
        long,
        env = "BAYPROOF_LOG",
        value_name = "FILTER",
        default_value = "info,actix_server=warn,sqlx=warn"
    )]
    pub(crate) log: String,
}

/// Forms of the log.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub(crate) enum LogFormat {
    /// For people.
    Text,
    /// One JSON object a line.
    Json,
}

/// Settings of `token`.
#[derive(Debug, Args)]
pub(crate) struct TokenSettings {
    /// The shop, by name or id
    #[arg(long, env = "BAYPROOF_SHOP")]
    pub(crate) shop: String,
    /// A role; may be given several times
    #[arg(long, env = "BAYPROOF_ROLE", required = true, value_delimiter = ',', value_parser = role)]
    pub(crate) role: Vec<Role>,
    /// Id of the technician that a technician's token is for
    #[arg(
        long,
        env = "BAYPROOF_TECHNICIAN",
        value_name = "ID",
        required_if_eq("role", "technician")
    )]
    pub(crate) technician: Option<Uuid>,
    /// Who calls; without it, the role
    #[arg(long, env = "BAYPROOF_SUBJECT")]
    pub(crate) subject: Option<String>,
    /// How long it holds, in hours
    #[arg(long, env = "BAYPROOF_TOKEN_HOURS", default_value_t = 12,
          value_parser = clap::value_parser!(u32).range(1..=8784))]
    pub(crate) hours: u32,
    #[command(flatten)]
    pub(crate) keys: KeySettings,
    #[command(flatten)]
    pub(crate) database: DatabaseSettings,
}

/// Settings of `shop add`.
#[derive(Debug, Args)]
pub(crate) struct ShopSettings {
    /// Its name
    pub(crate) name: String,
    /// IANA time zone of its shifts
    #[arg(long, env = "BAYPROOF_TIME_ZONE", value_name = "ZONE", default_value = "UTC")]
    pub(crate) time_zone: String,
    /// A catalogue document instead of the starter catalogue
    #[arg(long, env = "BAYPROOF_CATALOGUE", value_name = "FILE")]
    pub(crate) catalogue: Option<PathBuf>,
    #[command(flatten)]
    pub(crate) keys: KeySettings,
    #[command(flatten)]
    pub(crate) database: DatabaseSettings,
}

/// Settings of `derive`.
#[derive(Debug, Args)]
pub(crate) struct DeriveSettings {
    /// The order as `POST /v1/orders` takes it; `-` is standard input
    pub(crate) order: PathBuf,
    /// A catalogue document instead of the starter catalogue
    #[arg(long, env = "BAYPROOF_CATALOGUE", value_name = "FILE")]
    pub(crate) catalogue: Option<PathBuf>,
}

fn seconds(word: &str) -> Result<f64, String> {
    let number: f64 = word.parse().map_err(|_| "a number is needed".to_owned())?;
    let sound = (0.0..=86_400.0).contains(&number);
    if sound { Ok(number) } else { Err("0 to 86400 seconds".to_owned()) }
}

fn role(word: &str) -> Result<Role, String> {
    let known = Role::ALL.map(Role::word).join(", ");
    Role::of_word(word).ok_or_else(|| format!("roles are {known}"))
}

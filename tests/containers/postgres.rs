//! The service's program on a PostgreSQL of another version and build than the private one.

use std::process::{Child, Command, Stdio};

use testcontainers::core::{IntoContainerPort, WaitFor};
use testcontainers::runners::AsyncRunner;
use testcontainers::{GenericImage, ImageExt};

use crate::engine::{Engine, free_port, run, top};
use crate::order;

const SECRET: &str = "a secret for this test, of more than 32 bytes";

#[tokio::main]
pub(crate) async fn an_order_is_taken_in_on_a_postgresql_in_a_container(engine: &Engine) {
    let (image, tag) = engine.postgres_parts();
    let ready = WaitFor::message_on_stderr("database system is ready to accept connections");
    let scripts = "/docker-entrypoint-initdb.d";
    let database = GenericImage::new(image, tag)
        .with_wait_for(ready)
        .with_exposed_port(5432.tcp())
        .with_env_var("POSTGRES_PASSWORD", "of-the-superuser")
        .with_env_var("BAYPROOF_OWNER_PASSWORD", "of-the-owner")
        .with_env_var("BAYPROOF_SERVICE_PASSWORD", "of-the-service")
        .with_copy_to(format!("{scripts}/10-roles.sql"), top().join("services/cluster/roles.sql"))
        .with_copy_to(
            format!("{scripts}/20-passwords.sh"),
            top().join("services/bayproof/database/passwords.sh"),
        )
        .start()
        .await
        .expect("the container starts");
    let host = database.get_host().await.expect("has a host");
    let port = database.get_host_port_ipv4(5432.tcp()).await.expect("has a port");
    let url = |role, password| format!("postgres://{role}:{password}@{host}:{port}/bayproof");

    let listen = format!("127.0.0.1:{}", free_port());
    let bayproof = || {
        let mut command = Command::new(&engine.binary);
        command
            .env("BAYPROOF_LISTEN", &listen)
            .env("BAYPROOF_LOG", "warn")
            .env("BAYPROOF_DATABASE_URL", url("bayproof_service", "of-the-service"))
            .env("BAYPROOF_MIGRATE_URL", url("bayproof_owner", "of-the-owner"))
            .env("BAYPROOF_TOKEN_SECRET", SECRET);
        command
    };
    let serving = bayproof().arg("serve").stdout(Stdio::null()).spawn().expect("starts");
    let _serving = Stopped(serving);
    let base = format!("http://{listen}");
    order::until_ready(&base).await;
    run(bayproof().args(["shop", "add", "harbour"])).expect("the shop is made");
    let token = run(bayproof().args(["token", "--shop", "harbour", "--role", "integration"]));
    order::is_taken_in(&base, &token.expect("prints a token")).await;
}

/// Ends the process when the test does.
struct Stopped(Child);

impl Drop for Stopped {
    fn drop(&mut self) {
        let _ = self.0.kill();
        let _ = self.0.wait();
    }
}

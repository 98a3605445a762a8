//! `docker-compose.yml`, brought up as it stands.

use std::fs;
use std::process::Command;

use crate::engine::{Engine, free_port, run, top};
use crate::order;

#[tokio::main]
pub(crate) async fn an_order_is_taken_in_by_the_service_that_compose_brings_up(engine: &Engine) {
    let name = format!("bayproof-test-{}", std::process::id());
    build_image(engine, &name);
    let compose = Compose { engine, image: name, port: free_port() };
    compose.run(&["up", "--detach", "--no-build"]);

    let base = format!("http://127.0.0.1:{}", compose.port);
    order::until_ready(&base).await;
    compose.until_healthy();
    let inside =
        |arguments: &[&str]| compose.run(&[&["exec", "-T", "service"], arguments].concat());
    assert_ne!(inside(&["id", "-u"]), "0", "the service doesn't run as root");
    inside(&["bayproof", "shop", "add", "harbour"]);
    let token = inside(&["bayproof", "token", "--shop", "harbour", "--role", "integration"]);
    order::is_taken_in(&base, &token).await;

    // What was taken in outlives the containers.
    compose.run(&["down"]);
    compose.run(&["up", "--detach", "--no-build"]);
    order::until_ready(&base).await;
    order::is_there(&base, &token).await;
}

/// The service's image with the program that is built already.
fn build_image(engine: &Engine, name: &str) {
    let context = std::env::temp_dir().join(name);
    fs::create_dir_all(&context).expect("makes a folder");
    fs::copy(&engine.binary, context.join("bayproof")).expect("copies the program");
    let mut build = Command::new("docker");
    build.args(["build", "--quiet", "--target", "prebuilt", "--tag", name]);
    build.args(["--build-arg", &format!("RUNTIME_IMAGE={}", engine.runtime)]);
    build.arg("--file").arg(top().join("services/bayproof/Dockerfile")).arg(&context);
    let ended = run(&mut build);
    fs::remove_dir_all(&context).expect("removes the folder");
    ended.expect("the image is built");
}

/// A project of its own, removed with its data and its image at the end.
struct Compose<'a> {
    engine: &'a Engine,
    image: String,
    port: u16,
}

impl Compose<'_> {
    fn run(&self, arguments: &[&str]) -> String {
        match run(self.command().args(arguments)) {
            Ok(printed) => printed,
            Err(error) => panic!("{error}\n{}", self.logs()),
        }
    }

    /// Waits until the engine's own check of the service has passed.
    fn until_healthy(&self) {
        let container = self.run(&["ps", "--quiet", "service"]);
        let state = ["inspect", "--format", "{{.State.Health.Status}}", &container];
        for _ in 0..60 {
            if run(Command::new("docker").args(state)).is_ok_and(|state| state == "healthy") {
                return;
            }
            std::thread::sleep(std::time::Duration::from_secs(1));
        }
        panic!("the service did not become healthy within a minute");
    }

    fn logs(&self) -> String {
        run(self.command().args(["logs", "--tail", "40"])).unwrap_or_default()
    }

    /// The engine's own plugin, or the program of older machines.
    fn command(&self) -> Command {
        let plugin = run(Command::new("docker").args(["compose", "version"])).is_ok();
        let mut command = Command::new(if plugin { "docker" } else { "docker-compose" });
        command.args(plugin.then_some("compose")).args(["--project-name", &self.image]);
        command.arg("--file").arg(top().join("docker-compose.yml"));
        command
            .env("BAYPROOF_POSTGRES_IMAGE", &self.engine.postgres)
            .env("BAYPROOF_IMAGE", &self.image)
            .env("BAYPROOF_PORT", format!("127.0.0.1:{}", self.port))
            .env("BAYPROOF_TOKEN_SECRET", "a secret for this test, of more than 32 bytes");
        command
    }
}

impl Drop for Compose<'_> {
    fn drop(&mut self) {
        if std::thread::panicking() {
            eprintln!("{}", self.logs());
        }
        let _ = run(self.command().args(["down", "--volumes"]));
        let _ = run(Command::new("docker").args(["image", "rm", &self.image]));
    }
}

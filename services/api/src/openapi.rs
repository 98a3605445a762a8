//! The `OpenAPI` document, collected from the routes themselves.

use actix_web::App;
use utoipa::openapi::security::{HttpAuthScheme, HttpBuilder, SecurityScheme};
use utoipa::{Modify, OpenApi};
use utoipa_actix_web::AppExt as _;

/// Title, version and security scheme; paths and schemas come from the routes.
#[derive(OpenApi)]
#[openapi(
    info(
        title = "Bayproof",
        version = "1",
        description = "Derives which relearns, initialisations, calibrations and functional tests a repair makes \
necessary, plans them onto bays and technicians, refuses what is out of order or unproven, and reports what was done. \
The manufacturer's service information, local codes and licensed practice come first."
    ),
    modifiers(&Bearer),
    security(("bearer" = [])),
    components(schemas(contract::problem::Problem))
)]
struct Base;

struct Bearer;

impl Modify for Bearer {
    fn modify(&self, api: &mut utoipa::openapi::OpenApi) {
        let scheme = HttpBuilder::new().scheme(HttpAuthScheme::Bearer).bearer_format("JWT").build();
        api.components
            .get_or_insert_default()
            .add_security_scheme("bearer", SecurityScheme::Http(scheme));
    }
}

pub(crate) fn base() -> utoipa::openapi::OpenApi {
    Base::openapi()
}

/// The document, without starting a server.
pub fn document() -> utoipa::openapi::OpenApi {
    App::new().into_utoipa_app().openapi(base()).configure(crate::routes).split_for_parts().1
}

#[cfg(test)]
mod tests {
    #[test]
    fn the_committed_document_is_current() {
        let now = super::document().to_pretty_json().expect("serializes") + "\n";
        let path = concat!(env!("CARGO_MANIFEST_DIR"), "/../../openapi/openapi.json");
        if std::env::var_os("UPDATE_CONTRACT").is_some() {
            std::fs::write(path, &now).expect("writes");
        }
        let committed = std::fs::read_to_string(path).unwrap_or_default();
        assert!(now == committed, "the contract changed: run UPDATE_CONTRACT=1 cargo test -p api");
    }
}

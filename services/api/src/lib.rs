//! HTTP in, HTTP out: routes, extractors, problem documents and the `OpenAPI` document. One file per resource.

mod absences;
mod accept;
mod arrival;
mod attachments;
pub mod auth;
mod batch;
mod bays;
mod body;
mod call;
mod catalogues;
mod clock;
mod derivations;
mod document;
mod equipment;
mod etag;
mod fallback;
mod health;
mod journal;
mod labour_words;
mod limits;
mod lines;
mod list;
mod location;
mod openapi;
mod orders;
mod permits;
mod plan;
mod problem;
mod query;
mod readiness;
mod reports;
mod schema_faults;
mod shifts;
mod status;
mod stream;
mod tasks;
mod technicians;
mod vehicles;
mod worklist;

use std::time::Duration;

use actix_web::body::MessageBody;
use actix_web::dev::{ServiceFactory, ServiceRequest, ServiceResponse};
use actix_web::middleware::from_fn;
use actix_web::{App, Error, web};
use tracing_actix_web::TracingLogger;
use utoipa_actix_web::AppExt as _;
use utoipa_actix_web::service_config::ServiceConfig;
use utoipa_swagger_ui::SwaggerUi;
use workflow::flow::Flow;

pub use openapi::document;

use crate::auth::TokenKeys;
use crate::body::Schemas;
use crate::fallback::KnownPaths;
use crate::query::KnownParameters;

/// Largest body that is read, in bytes. An attachment of 20 MB is 27 MB in base64.
pub const BODY_LIMIT: usize = 32 * 1024 * 1024;

/// How long an idle connection is kept: longer than clients keep theirs (90 s is usual), so that none is closed just as a
/// request begins on it.
pub const KEEP_ALIVE: Duration = Duration::from_mins(2);

/// What every worker shares; made once.
#[derive(Clone)]
pub struct Shared {
    flow: web::Data<Flow>,
    keys: web::Data<TokenKeys>,
    schemas: web::Data<Schemas>,
    paths: web::Data<KnownPaths>,
    parameters: web::Data<KnownParameters>,
}

impl Shared {
    /// Ties the workflow and the token keys to the contract.
    pub fn new(flow: Flow, keys: TokenKeys) -> Self {
        let document = document();
        Self {
            flow: web::Data::new(flow),
            keys: web::Data::new(keys),
            schemas: web::Data::new(Schemas::of(&document)),
            paths: web::Data::new(KnownPaths::of(&document)),
            parameters: web::Data::new(KnownParameters::of(&document)),
        }
    }
}

/// Every route below `/v1`, in one place.
#[expect(clippy::too_many_lines, reason = "a list, one route a line")]
fn routes(config: &mut ServiceConfig<'_>) {
    config.service(
        utoipa_actix_web::scope("/v1")
            .service(orders::intake_order)
            .service(orders::put_order)
            .service(orders::list_orders)
            .service(orders::get_order)
            .service(orders::amend_order)
            .service(orders::answer_question)
            .service(orders::observe_order)
            .service(orders::split_order)
            .service(orders::release_order)
            .service(worklist::get_worklist)
            .service(lines::put_line)
            .service(lines::remove_line)
            .service(lines::report_progress)
            .service(lines::get_line_document)
            .service(derivations::derive_order)
            .service(derivations::derive_anew)
            .service(derivations::why_not)
            .service(catalogues::upload_catalogue)
            .service(catalogues::list_catalogues)
            .service(catalogues::get_document)
            .service(catalogues::check_catalogue)
            .service(catalogues::get_impact)
            .service(catalogues::publish_catalogue)
            .service(catalogues::get_catalogue)
            .service(catalogues::redraft_catalogue)
            .service(catalogues::lay_catalogue_aside)
            .service(catalogues::check_document)
            .service(labour_words::add_word)
            .service(labour_words::list_words)
            .service(labour_words::get_word)
            .service(labour_words::put_word)
            .service(labour_words::remove_word)
            .service(vehicles::get_vehicle)
            .service(vehicles::depart)
            .service(vehicles::come_back)
            .service(vehicles::pass_lock)
            .service(vehicles::correct_identity)
            .service(vehicles::agree_to_identity)
            .service(tasks::list_tasks)
            .service(tasks::get_task)
            .service(readiness::get_readiness)
            .service(attachments::get_attachment)
            .service(attachments::redact_attachment)
            .service(tasks::take_lease)
            .service(tasks::renew_lease)
            .service(tasks::return_lease)
            .service(tasks::acknowledge_cautions)
            .service(tasks::send_evidence)
            .service(tasks::attest)
            .service(tasks::start_task)
            .service(tasks::interrupt_task)
            .service(tasks::finish_task)
            .service(tasks::decide_task)
            .service(tasks::hand_over_task)
            .service(tasks::waive_task)
            .service(tasks::approve_waiver)
            .service(tasks::revoke_waiver)
            .service(limits::give_limit)
            .service(limits::list_limits)
            .service(limits::approve_limit)
            .service(plan::get_plan)
            .service(plan::try_plan)
            .service(plan::get_load)
            .service(plan::ask_promise)
            .service(plan::why_late)
            .service(plan::get_gains)
            .service(plan::pin_task)
            .service(plan::list_pins)
            .service(plan::unpin_task)
            .service(reports::get_report)
            .service(clock::get_clock)
            .service(journal::list_events)
            .service(stream::stream_events)
            .service(journal::list_entries)
            .service(journal::list_checkpoints)
            .service(journal::get_proof)
            .service(bays::add_bay)
            .service(bays::list_bays)
            .service(bays::get_bay)
            .service(bays::change_bay)
            .service(bays::retire_bay)
            .service(technicians::add_technician)
            .service(technicians::list_technicians)
            .service(technicians::get_technician)
            .service(technicians::change_technician)
            .service(technicians::retire_technician)
            .service(equipment::add_equipment)
            .service(equipment::list_equipment)
            .service(equipment::get_equipment)
            .service(equipment::change_equipment)
            .service(equipment::retire_equipment)
            .service(shifts::add_shift)
            .service(shifts::list_shifts)
            .service(shifts::get_shift)
            .service(shifts::change_shift)
            .service(shifts::retire_shift)
            .service(absences::add_absence)
            .service(absences::list_absences)
            .service(absences::get_absence)
            .service(absences::end_absence),
    );
    config.service(health::healthz).service(health::readyz).service(problem::list_problems);
}

/// The whole application, as the service runs it and the tests call it.
pub fn app(
    shared: Shared,
) -> App<
    impl ServiceFactory<
        ServiceRequest,
        Config = (),
        Response = ServiceResponse<impl MessageBody>,
        Error = Error,
        InitError = (),
    >,
> {
    App::new()
        .into_utoipa_app()
        .openapi(openapi::base())
        .app_data(shared.flow)
        .app_data(shared.keys)
        .app_data(shared.schemas)
        .app_data(shared.paths)
        .app_data(shared.parameters)
        .app_data(problem::path_config())
        .app_data(query::config())
        .app_data(web::PayloadConfig::new(BODY_LIMIT))
        .configure(routes)
        .openapi_service(|_| SwaggerUi::new("/docs/{_:.*}").url("/openapi.json", document()))
        .default_service(web::to(fallback::answer))
        .into_app()
        .service(web::redirect("/docs", "/docs/"))
        .wrap(from_fn(problem::dress))
        .wrap(TracingLogger::default())
}

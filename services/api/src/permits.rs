//! The one table of operation and role, and the extractor that makes it part of a handler's signature.

use std::future::{Ready, ready};
use std::marker::PhantomData;

use actix_web::dev::Payload;
use actix_web::http::header;
use actix_web::{FromRequest, HttpRequest, web};
use contract::problem::ProblemKind;
use domain::role::Role;
use workflow::caller::Caller;
use workflow::refusal::Refusal;

use crate::auth::TokenKeys;
use crate::problem::Rejection;

/// An operation that a token's roles may allow.
pub(crate) trait Operation {
    /// Any one of these roles is enough.
    const ROLES: &'static [Role];
}

/// A caller whose roles allow the operation: a handler that takes it cannot be reached without.
pub(crate) struct Allowed<O> {
    /// Who calls.
    pub(crate) caller: Caller,
    operation: PhantomData<O>,
}

const ANY: &[Role] = &Role::ALL;

macro_rules! operations {
    ($($name:ident: $roles:expr;)*) => {
        $(
            /// See the table.
            pub(crate) struct $name;
            impl Operation for $name {
                const ROLES: &'static [Role] = $roles;
            }
        )*
    };
}

use Role::{Dispatcher, Integration, Owner, Technician};

operations! {
    // operation          roles that allow it
    ReadOrders:           ANY;
    IntakeOrder:          &[Integration];
    AmendOrder:           &[Integration, Dispatcher];
    ReportProgress:       &[Integration, Technician, Dispatcher];
    AnswerQuestion:       &[Integration, Dispatcher, Technician, Role::Keeper, Owner];
    ObserveOrder:         &[Technician];
    ReleaseOrder:         &[Dispatcher, Integration];
    WorkTask:             &[Technician];
    SendEvidence:         &[Technician, Integration];
    Attest:               &[Technician, Dispatcher];
    DecideTask:           &[Technician, Dispatcher];
    GiveLimit:            &[Technician, Dispatcher];
    ApproveLimit:         &[Technician, Dispatcher, Owner];
    PassLock:             &[Technician];
    MoveVehicle:          &[Dispatcher, Technician];
    CorrectIdentity:      &[Integration, Dispatcher, Technician, Owner];
    AgreeToIdentity:      &[Dispatcher, Technician, Owner];
    WaiveTask:            &[Dispatcher, Owner];
    ChangePlan:           &[Dispatcher];
    DeriveAnew:           &[Integration, Dispatcher, Role::Keeper];
    ReadCatalogues:       ANY;
    KeepCatalogues:       &[Role::Keeper, Owner];
    ReadWords:            ANY;
    KeepWords:            &[Role::Keeper, Owner];
    ReadReports:          &[Role::Auditor, Owner];
    ReadFiles:            &[Role::Auditor, Owner, Dispatcher, Technician];
    RedactFile:           &[Dispatcher, Owner];
    ReadEvents:           ANY;
    ReadJournal:          &[Role::Auditor];
    ReadMeans:            ANY;
    ChangeMeans:          &[Dispatcher, Owner];
}

impl<O: Operation> FromRequest for Allowed<O> {
    type Error = Rejection;
    type Future = Ready<Result<Self, Rejection>>;

    fn from_request(request: &HttpRequest, _: &mut Payload) -> Self::Future {
        ready(allow(request, O::ROLES).map(|caller| Self { caller, operation: PhantomData }))
    }
}

fn allow(request: &HttpRequest, roles: &[Role]) -> Result<Caller, Rejection> {
    let refuse =
        |detail: String| Rejection(Refusal::new(ProblemKind::TokenMissingOrInvalid, detail));
    let keys = request
        .app_data::<web::Data<TokenKeys>>()
        .ok_or_else(|| Rejection(Refusal::new(ProblemKind::Internal, "no token keys")))?;
    let token = request
        .headers()
        .get(header::AUTHORIZATION)
        .and_then(|value| value.to_str().ok())
        .and_then(|value| value.split_once(' '))
        .filter(|(scheme, _)| scheme.eq_ignore_ascii_case("bearer"))
        .map(|(_, token)| token.trim())
        .ok_or_else(|| refuse("send `Authorization: Bearer <token>`".to_owned()))?;
    let mut caller = keys.read(token).map_err(|error| refuse(error.to_string()))?;
    if !roles.iter().any(|role| caller.has(*role)) {
        let words: Vec<&str> = roles.iter().map(|role| role.word()).collect();
        return Err(Rejection(Refusal::new(
            ProblemKind::RoleNotAllowed,
            format!("this needs one of the roles {}", words.join(", ")),
        )));
    }
    caller.client = request
        .headers()
        .get(header::USER_AGENT)
        .and_then(|value| value.to_str().ok())
        .map(|agent| agent.chars().take(120).collect());
    Ok(caller)
}

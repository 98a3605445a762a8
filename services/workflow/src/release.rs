//! Release: the decision that the vehicle may leave.

use contract::orders::{NewRelease, OrderView, ReleaseKind};
use contract::problem::ProblemKind;
use domain::lifecycle::{OrderState, TaskState};
use domain::procedure::Ends;
use serde_json::json;
use uuid::Uuid;

use crate::caller::Call;
use crate::case::Case;
use crate::flow::Flow;
use crate::record::Happening;
use crate::refusal::Refusal;
use crate::view;

/// Releases the vehicle, or refuses with all that is still open.
pub async fn release(
    flow: &Flow,
    call: &Call,
    order: Uuid,
    new: &NewRelease,
) -> Result<OrderView, Refusal> {
    flow.write(call, "orders.release", async |step| {
        let mut case = step.lock_case(order).await?;
        if case.order.state != OrderState::Open {
            return Err(Refusal::new(
                ProblemKind::WrongState,
                format!(
                    "the order is {}; a released order is not released again",
                    case.order.state.word()
                ),
            )
            .with("state", case.order.state.word()));
        }
        if call.expects.is_some_and(|version| version != case.order.version) {
            return Err(Refusal::new(
                ProblemKind::VersionStale,
                "the order changed since it was read",
            ));
        }
        may_leave(&case, new)?;
        let decreased =
            new.odometer_out.zip(case.order.odometer_in).is_some_and(|(out, into)| out < into);
        if decreased && let Some(findings) = case.order.findings.as_array_mut() {
            findings.push(json!({ "code": "odometer_decreased",
                "detail": "the odometer reads less at the end than at intake" }));
        }
        let expects = (case.order.version, case.order.state);
        case.order.state = OrderState::Released;
        case.order.released_at = Some(case.now);
        case.order.odometer_out = new.odometer_out.or(case.order.odometer_out);
        case.order.release =
            Some(json!({ "kind": new.kind, "by": step.caller.subject, "reason": new.reason,
            "odometer_out": new.odometer_out }));
        let shop = step.shop();
        if !store::orders::update(step.conn(), shop, expects, &case.order).await? {
            return Err(Refusal::new(ProblemKind::VersionStale, "the order changed meanwhile"));
        }
        case.order.version += 1;
        step.record(Happening {
            kind: "order.released",
            order: Some(order),
            subject: ("order", order.to_string()),
            data: json!({ "number": case.order.number, "kind": new.kind, "reason": new.reason,
                "odometer_out": new.odometer_out, "tasks": case.live().map(|t| json!({ "task": t.id,
                "procedure": t.definition.id, "state": t.state })).collect::<Vec<_>>() }),
        })
        .await?;
        Ok(view::order(&case))
    })
    .await
}

fn may_leave(case: &Case, new: &NewRelease) -> Result<(), Refusal> {
    let leaving = view::leaving(case, None);
    let mut blocked = leaving.blocked_by;
    let learning =
        case.live().any(|t| !t.state.is_over() && t.definition.ends == Ends::AfterHandover);
    match new.kind {
        ReleaseKind::Complete if learning => {
            return Err(Refusal::new(
                ProblemKind::NotReleasable,
                "something still ends after hand-over; this is a release of kind `open_learning`",
            ));
        }
        ReleaseKind::Complete | ReleaseKind::OpenLearning => {}
        ReleaseKind::IncompleteTowed => {
            if new.reason.is_none() {
                return Err(Refusal::field(
                    "/reason",
                    "a vehicle that leaves with work open leaves with a reason",
                ));
            }
            // What runs, stands open or must not move keeps the vehicle even from a carrier.
            let running = |id: Option<Uuid>| {
                case.tasks.iter().any(|t| {
                    Some(t.id) == id && matches!(t.state, TaskState::Running | TaskState::Held)
                })
            };
            blocked.retain(|b| {
                matches!(b.code.as_str(), "bracket_open" | "hold" | "settling") || running(b.task)
            });
        }
    }
    if blocked.is_empty() {
        if new.kind == ReleaseKind::OpenLearning && !learning {
            let detail = "nothing ends after hand-over; this is a release of kind `complete`";
            return Err(Refusal::field("/kind", detail));
        }
        return Ok(());
    }
    let detail = blocked.iter().map(|b| b.detail.as_str()).collect::<Vec<_>>().join("; ");
    Err(Refusal::new(ProblemKind::NotReleasable, detail)
        .with("blocked_by", serde_json::to_value(&blocked).unwrap_or_default())
        .with("other_open_orders", json!(case.other_open)))
}

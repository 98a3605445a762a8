//! After every change of an order: which tasks may be taken now.

use domain::lifecycle::{OrderState, TaskEvent, TaskState};
use serde_json::json;
use store::tasks::Node;
use uuid::Uuid;

use crate::case::Case;
use crate::flow::Step;
use crate::record::Happening;
use crate::refusal::Refusal;

impl Step {
    /// Brings `waiting` and `ready` in line with what is open. A taken task that something was put before is taken back.
    pub(crate) async fn settle(&mut self, case: &mut Case) -> Result<(), Refusal> {
        self.let_fall(case).await?;
        let ids: Vec<Uuid> = case.tasks.iter().map(|t| t.id).collect();
        for id in ids {
            let task = case.task(id)?.clone();
            let blocked = !case.open_before(Node::Task(id)).is_empty();
            let event = match (task.state, blocked) {
                (TaskState::Waiting, false) => TaskEvent::Unblock,
                (TaskState::Ready | TaskState::Taken, true) => TaskEvent::Block,
                _ => continue,
            };
            self.change_task(case, id, event, |t| {
                if event == TaskEvent::Block {
                    t.technician = None;
                    t.bay = None;
                    t.fence += i64::from(task.state == TaskState::Taken);
                }
            })
            .await?;
            if task.state == TaskState::Taken {
                self.end_attempt(case, &task, "blocked", json!({})).await?;
            }
            self.record(Happening {
                kind: if event == TaskEvent::Unblock { "task.ready" } else { "task.waiting" },
                order: Some(case.order.id),
                subject: ("task", id.to_string()),
                data: json!({ "procedure": task.definition.id }),
            })
            .await?;
        }
        self.close_if_over(case).await
    }

    /// What was only run to its end and did not pass is not tried again.
    async fn let_fall(&mut self, case: &mut Case) -> Result<(), Refusal> {
        let ended = [TaskState::Waiting, TaskState::Ready, TaskState::Failed];
        let gone: Vec<Uuid> = case
            .tasks
            .iter()
            .filter(|t| t.no_longer_needed && ended.contains(&t.state))
            .filter(|t| !case.is_bound_by_bracket(t))
            .map(|t| t.id)
            .collect();
        for id in gone {
            self.withdraw(case, id, json!({ "because": "it is no longer needed" })).await?;
        }
        Ok(())
    }

    /// A released order is closed when its last task has ended.
    async fn close_if_over(&mut self, case: &mut Case) -> Result<(), Refusal> {
        let learning =
            case.live().any(|t| t.definition.ends == domain::procedure::Ends::AfterHandover);
        let open = case.live().any(|t| !t.state.is_over());
        if case.order.state != OrderState::Released || !learning || open {
            return Ok(());
        }
        let expects = (case.order.version, case.order.state);
        case.order.state = OrderState::Closed;
        let shop = self.shop();
        if store::orders::update(self.conn(), shop, expects, &case.order).await? {
            case.order.version += 1;
            self.record(Happening {
                kind: "order.closed",
                order: Some(case.order.id),
                subject: ("order", case.order.id.to_string()),
                data: json!({ "number": case.order.number }),
            })
            .await?;
        }
        Ok(())
    }
}

//! The duties beside the requests: loops that go through every shop.

use std::time::Duration;

use actix_web::rt::{self, task::JoinHandle};
use tokio_util::sync::CancellationToken;
use uuid::Uuid;
use workflow::flow::Flow;
use workflow::refusal::Refusal;
use workflow::{forget, lapse, plan, seal, shops};

/// Begins every duty. They run on the thread that calls, and end soon after `stop`.
pub fn begin(flow: &Flow, stop: &CancellationToken) -> Vec<JoinHandle<()>> {
    let every = Duration::from_millis;
    // Another process that does the same duties is told apart by this id.
    let holder = Uuid::new_v4();
    let (waiting, stopping) = (flow.clone(), stop.clone());
    let let_go = rt::spawn(async move {
        stopping.cancelled().await;
        waiting.stop();
    });
    vec![
        let_go,
        repeat(flow, stop, "seal", every(50), async move |flow, shop| {
            seal::seal(flow, shop, holder).await.map(drop)
        }),
        repeat(flow, stop, "plan", every(250), async move |flow, shop| {
            plan::round(flow, shop, holder).await.map(drop)
        }),
        repeat(flow, stop, "leases", every(1_000), async |flow, shop| {
            lapse::end_leases(flow, shop).await.map(drop)
        }),
        repeat(flow, stop, "answers", every(600_000), async |flow, shop| {
            forget::answers(flow, shop).await.map(drop)
        }),
    ]
}

/// Does one duty for every shop, again and again.
fn repeat<D>(
    flow: &Flow,
    stop: &CancellationToken,
    name: &'static str,
    pause: Duration,
    duty: D,
) -> JoinHandle<()>
where
    D: AsyncFn(&Flow, Uuid) -> Result<(), Refusal> + 'static,
{
    let (flow, stop) = (flow.clone(), stop.clone());
    rt::spawn(async move {
        let mut failing = false;
        while !stop.is_cancelled() {
            let round = round(&flow, &stop, &duty).await;
            match &round {
                // Told once, not in every round of an outage.
                Err(refusal) if !failing => {
                    tracing::error!(duty = name, error = ?refusal, "a duty failed");
                }
                Ok(()) if failing => tracing::info!(duty = name, "a duty works again"),
                _ => {}
            }
            failing = round.is_err();
            let pause = if failing { pause.max(Duration::from_secs(1)) } else { pause };
            tokio::select! {
                () = tokio::time::sleep(pause) => {}
                () = stop.cancelled() => {}
            }
        }
    })
}

/// One round; a shop whose turn failed does not hold up the others.
async fn round<D>(flow: &Flow, stop: &CancellationToken, duty: &D) -> Result<(), Refusal>
where
    D: AsyncFn(&Flow, Uuid) -> Result<(), Refusal>,
{
    let mut outcome = Ok(());
    for shop in shops::every(flow).await? {
        if stop.is_cancelled() {
            break;
        }
        if let Err(refusal) = duty(flow, shop).await {
            outcome = Err(refusal);
        }
    }
    outcome
}

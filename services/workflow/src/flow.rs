//! What every step needs: the database, and transactions that carry an idempotency key.

use std::sync::Arc;

use chrono::{DateTime, Utc};
use contract::problem::ProblemKind;
use journal::key::SealingKey;
use serde::Serialize;
use serde::de::DeserializeOwned;
use sha2::{Digest as _, Sha256};
use store::stored_answers::{self, StoredAnswer};
use store::{Conn, Db, StoreError, Tx};
use tokio::sync::Notify;
use uuid::Uuid;

use crate::caller::{Call, Caller, Once};
use crate::catalogues::Shelf;
use crate::ids::Ids;
use crate::record::Signature;
use crate::refusal::Refusal;

/// The steps' common ground. Cheap to clone.
#[derive(Clone, Debug)]
pub struct Flow {
    pub(crate) db: Db,
    /// Rings after every committed change, for the duties of this process; they poll besides.
    pub(crate) bell: Arc<Notify>,
    pub(crate) shelf: Arc<Shelf>,
    pub(crate) sealing: Option<Arc<SealingKey>>,
}

/// One transaction of one caller.
#[derive(Debug)]
pub struct Step {
    pub(crate) tx: Tx,
    pub(crate) caller: Caller,
    now: Option<DateTime<Utc>>,
    ids: Ids,
    pub(crate) signature: Option<Signature>,
}

impl Flow {
    /// Ties the steps to a database.
    pub fn new(db: Db) -> Self {
        Self { db, bell: Arc::new(Notify::new()), shelf: Arc::default(), sealing: None }
    }

    /// The same with the key that checkpoints are signed with; without one nothing is sealed.
    #[must_use]
    pub fn sealing_with(self, key: SealingKey) -> Self {
        Self { sealing: Some(Arc::new(key)), ..self }
    }

    /// The database, for readiness.
    pub fn db(&self) -> &Db {
        &self.db
    }

    /// Runs a step that writes. With an idempotency key, an answer that was given before is given again. A step that
    /// collided with another transaction is run once more.
    pub(crate) async fn write<T, S>(
        &self,
        call: &Call,
        operation: &str,
        step: S,
    ) -> Result<T, Refusal>
    where
        T: Serialize + DeserializeOwned,
        S: AsyncFn(&mut Step) -> Result<T, Refusal>,
    {
        match self.write_once(call, operation, &step).await {
            Err(refusal) if matches!(refusal.0.cause, Some(StoreError::Collision)) => {
                self.write_once(call, operation, &step).await
            }
            done => done,
        }
    }

    async fn write_once<T, S>(&self, call: &Call, operation: &str, step: &S) -> Result<T, Refusal>
    where
        T: Serialize + DeserializeOwned,
        S: AsyncFn(&mut Step) -> Result<T, Refusal>,
    {
        let shop = call.caller.shop;
        let tx = self.db.begin(&[shop]).await?;
        let mut here =
            Step { tx, caller: call.caller.clone(), now: None, ids: Ids::new(), signature: None };
        if let Some(once) = &call.once
            && let Some(answer) = here.answered(operation, once).await?
        {
            return Ok(serde_json::from_str(&answer).map_err(StoreError::from)?);
        }
        let answer = step(&mut here).await?;
        if let Some(once) = &call.once {
            let at = here.now().await?;
            let stored = StoredAnswer {
                fingerprint: once.fingerprint.to_vec(),
                answer: serde_json::to_string(&answer).map_err(StoreError::from)?,
            };
            stored_answers::insert(&mut here.tx, shop, operation, &once.key, &stored, at).await?;
        }
        store::commit(here.tx).await?;
        self.bell.notify_waiters();
        Ok(answer)
    }

    /// Runs a step that reads one state.
    pub(crate) async fn read<T, S>(&self, caller: &Caller, step: S) -> Result<T, Refusal>
    where
        S: AsyncFnOnce(&mut Step) -> Result<T, Refusal>,
    {
        let tx = self.db.begin_reading(&[caller.shop]).await?;
        let mut here =
            Step { tx, caller: caller.clone(), now: None, ids: Ids::new(), signature: None };
        step(&mut here).await
    }
}

impl Step {
    /// The connection.
    pub(crate) fn conn(&mut self) -> &mut Conn {
        &mut self.tx
    }

    /// The shop.
    pub(crate) fn shop(&self) -> Uuid {
        self.caller.shop
    }

    /// The time of this step: the service's clock, read once. Ask for it after taking locks.
    pub(crate) async fn now(&mut self) -> Result<DateTime<Utc>, Refusal> {
        if let Some(now) = self.now {
            return Ok(now);
        }
        let now = store::service_now(&mut self.tx).await?;
        self.now = Some(now);
        Ok(now)
    }

    /// A fresh id.
    pub(crate) async fn new_id(&mut self) -> Result<Uuid, Refusal> {
        let now = self.now().await?;
        Ok(self.ids.next(now))
    }

    /// The answer given to this key before, after locking the key so that a second request does not run beside it.
    async fn answered(&mut self, operation: &str, once: &Once) -> Result<Option<String>, Refusal> {
        let shop = self.shop();
        let mut hash = Sha256::new();
        for part in [shop.as_bytes().as_slice(), operation.as_bytes(), once.key.as_bytes()] {
            hash.update(part);
            hash.update([0]);
        }
        let digest: [u8; 32] = hash.finalize().into();
        let mut lock = [0; 8];
        lock.copy_from_slice(&digest[..8]);
        if !store::try_lock(&mut self.tx, i64::from_be_bytes(lock)).await? {
            return Err(Refusal::new(
                ProblemKind::RequestInProgress,
                "a request with this idempotency key still runs",
            ));
        }
        match stored_answers::find(&mut self.tx, shop, operation, &once.key).await? {
            None => Ok(None),
            Some(stored) if stored.fingerprint == once.fingerprint => Ok(Some(stored.answer)),
            Some(_) => Err(Refusal::new(
                ProblemKind::IdempotencyKeyReused,
                "this idempotency key was used with another body",
            )),
        }
    }
}

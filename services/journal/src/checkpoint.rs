//! A signed statement of the journal's size and root.
//!
//! As text it is a signed note (C2SP signed-note) whose body is a log checkpoint (C2SP
//! tlog-checkpoint) with one extension line, the time; general readers of such notes can check it.
//! As JSON it has the members `origin`, `size`, `root`, `time`, `key_id`, `signature`.

use base64::Engine;
use base64::prelude::BASE64_STANDARD;
use chrono::{DateTime, SecondsFormat, Utc};
use serde::{Deserialize, Serialize, Serializer};
use uuid::Uuid;

use crate::hash::Hash;
use crate::key::{KeyId, PublicKey, SealingKey, Signature};

/// What a checkpoint states.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Checkpoint {
    /// Which journal: see [`origin`].
    pub origin: String,
    /// How many entries it has.
    pub size: u64,
    /// The root over all of them.
    pub root: Hash,
    /// When it was signed: RFC 3339, UTC, microseconds.
    #[serde(serialize_with = "microseconds")]
    pub time: DateTime<Utc>,
}

/// A checkpoint and the signature under it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct SignedCheckpoint {
    /// What is stated.
    #[serde(flatten)]
    pub statement: Checkpoint,
    /// A hint which key signed.
    pub key_id: KeyId,
    /// The Ed25519 signature over [`Checkpoint::body`].
    pub signature: Signature,
}

/// Why a checkpoint does not hold.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum BadCheckpoint {
    /// The text is not a signed checkpoint.
    #[error("it is not a signed checkpoint: {0}")]
    Text(&'static str),
    /// The name of the journal can't stand in a signed note.
    #[error("the origin is empty or has a blank, a control character or a plus sign")]
    Origin,
    /// Another key signed it.
    #[error("key {signed} signed it, not {expected}")]
    OtherKey {
        /// The id that it carries.
        signed: KeyId,
        /// The id of the key that it was checked with.
        expected: KeyId,
    },
    /// The signature doesn't fit the statement.
    #[error("the signature does not fit the statement")]
    Signature,
}

/// The name of a shop's journal.
pub fn origin(shop: Uuid) -> String {
    format!("bayproof/{shop}")
}

impl Checkpoint {
    /// The lines that are signed: origin, size, root in base64, `time` and the moment.
    pub fn body(&self) -> String {
        format!(
            "{}\n{}\n{}\ntime {}\n",
            self.origin,
            self.size,
            BASE64_STANDARD.encode(self.root.0),
            rfc3339(&self.time)
        )
    }

    /// Signs it.
    pub fn sign(self, key: &SealingKey) -> SignedCheckpoint {
        SignedCheckpoint {
            key_id: key.public().id(&self.origin),
            signature: key.sign(self.body().as_bytes()),
            statement: self,
        }
    }
}

impl SignedCheckpoint {
    /// Checks the signature.
    ///
    /// # Errors
    /// Every variant of [`BadCheckpoint`] but the one for texts.
    pub fn check(&self, key: &PublicKey) -> Result<(), BadCheckpoint> {
        let origin = &self.statement.origin;
        let forbidden = |c: char| c.is_whitespace() || c.is_control() || c == '+';
        if origin.is_empty() || origin.contains(forbidden) {
            return Err(BadCheckpoint::Origin);
        }
        let expected = key.id(origin);
        if self.key_id != expected {
            return Err(BadCheckpoint::OtherKey { signed: self.key_id, expected });
        }
        if key.signed(self.statement.body().as_bytes(), &self.signature) {
            Ok(())
        } else {
            Err(BadCheckpoint::Signature)
        }
    }

    /// The signed note.
    pub fn to_text(&self) -> String {
        let mut signed = self.key_id.0.to_vec();
        signed.extend(self.signature.0);
        format!(
            "{}\n\u{2014} {} {}\n",
            self.statement.body(),
            self.statement.origin,
            BASE64_STANDARD.encode(signed)
        )
    }

    /// Reads a signed note; further signatures (of witnesses) are passed over. It is not checked
    /// yet.
    ///
    /// # Errors
    /// [`BadCheckpoint::Text`].
    pub fn from_text(text: &str) -> Result<Self, BadCheckpoint> {
        let bad = BadCheckpoint::Text;
        let (body, signatures) =
            text.split_once("\n\n").ok_or(bad("no blank line before the signature"))?;
        let mut lines = body.split('\n');
        let mut line = || lines.next().ok_or(bad("a line is missing"));
        let origin = line()?.to_owned();
        let size = line()?;
        let root = line()?;
        let time = line()?;
        if lines.next().is_some() {
            return Err(bad("more lines than origin, size, root and time"));
        }
        let root = BASE64_STANDARD.decode(root).map_err(|_| bad("the root is not base64"))?;
        let statement = Checkpoint {
            size: size.parse().map_err(|_| bad("the size is not a number"))?,
            root: Hash::try_from(root.as_slice()).map_err(|_| bad("the root is not 32 bytes"))?,
            time: time
                .strip_prefix("time ")
                .and_then(|moment| DateTime::parse_from_rfc3339(moment).ok())
                .ok_or(bad("the time is not RFC 3339"))?
                .to_utc(),
            origin,
        };
        if statement.body().strip_suffix('\n') != Some(body) {
            return Err(bad("a line is not written in the one way that is signed"));
        }
        let prefix = format!("\u{2014} {} ", statement.origin);
        let blob = signatures
            .split('\n')
            .find_map(|line| line.strip_prefix(&prefix))
            .ok_or(bad("no signature in the name of the origin"))?;
        let blob = BASE64_STANDARD.decode(blob).map_err(|_| bad("the signature is not base64"))?;
        let (id, signature) =
            blob.split_first_chunk::<4>().ok_or(bad("the signature is too short"))?;
        Ok(Self {
            statement,
            key_id: KeyId(*id),
            signature: Signature(
                signature
                    .try_into()
                    .map_err(|_| bad("the signature is not 64 bytes after the key id"))?,
            ),
        })
    }
}

fn rfc3339(time: &DateTime<Utc>) -> String {
    time.to_rfc3339_opts(SecondsFormat::Micros, true)
}

fn microseconds<S: Serializer>(time: &DateTime<Utc>, serializer: S) -> Result<S::Ok, S::Error> {
    serializer.serialize_str(&rfc3339(time))
}

//! Ed25519 keys and signatures (RFC 8032), in the words of signed notes (C2SP signed-note).

use std::fmt;

use base64::Engine;
use base64::prelude::BASE64_STANDARD;
use ed25519_dalek::{Signer, SigningKey, VerifyingKey};
use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};

/// The byte that stands for Ed25519 before a key in a signed note.
const ED25519: u8 = 0x01;

/// The shop's secret key. It never shows its bytes.
#[derive(Clone)]
pub struct SealingKey(SigningKey);

/// The key that a checkpoint is checked with: 32 bytes, as text base64.
#[derive(Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(try_from = "String", into = "String")]
pub struct PublicKey([u8; 32]);

/// A hint which key of a name signed: 4 bytes, as text 8 hexadecimal digits.
#[derive(Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(try_from = "String", into = "String")]
pub struct KeyId(pub(crate) [u8; 4]);

/// An Ed25519 signature: 64 bytes, as text base64.
#[derive(Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(try_from = "String", into = "String")]
pub struct Signature(pub(crate) [u8; 64]);

/// A text is not what it should be.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum NotAKey {
    /// Not an Ed25519 public key.
    #[error("a public key is 32 bytes in base64, or `name+id+key` as in a signed note")]
    Public,
    /// Not a key id.
    #[error("a key id is 8 hexadecimal digits")]
    Id,
    /// Not a signature.
    #[error("a signature is 64 bytes in base64")]
    Signature,
}

impl SealingKey {
    /// The key that grows from 32 secret random bytes.
    pub fn from_seed(seed: &[u8; 32]) -> Self {
        Self(SigningKey::from_bytes(seed))
    }

    /// What others check its signatures with.
    pub fn public(&self) -> PublicKey {
        PublicKey(self.0.verifying_key().to_bytes())
    }

    /// Signs bytes.
    pub fn sign(&self, message: &[u8]) -> Signature {
        Signature(self.0.sign(message).to_bytes())
    }
}

impl PublicKey {
    /// The raw key as RFC 8032 writes it.
    pub fn from_bytes(bytes: [u8; 32]) -> Self {
        Self(bytes)
    }

    /// The raw key.
    pub fn as_bytes(&self) -> &[u8; 32] {
        &self.0
    }

    /// The hint that a signed note carries: the first 4 bytes of SHA-256 over name, line feed,
    /// 0x01 and key.
    pub fn id(&self, name: &str) -> KeyId {
        let hash = Sha256::new()
            .chain_update(name)
            .chain_update([b'\n', ED25519])
            .chain_update(self.0)
            .finalize();
        KeyId([hash[0], hash[1], hash[2], hash[3]])
    }

    /// The key with its name, as readers of signed notes take it: `name+id+base64`.
    pub fn named(&self, name: &str) -> String {
        let mut typed = vec![ED25519];
        typed.extend(self.0);
        format!("{name}+{}+{}", self.id(name), BASE64_STANDARD.encode(typed))
    }

    /// Reads what [`PublicKey::named`] writes, and refuses an id that doesn't fit.
    ///
    /// # Errors
    /// [`NotAKey::Public`].
    pub fn from_named(text: &str) -> Result<(String, Self), NotAKey> {
        let mut parts = text.splitn(3, '+');
        let (Some(name), Some(id), Some(key)) = (parts.next(), parts.next(), parts.next()) else {
            return Err(NotAKey::Public);
        };
        let typed: [u8; 33] = decode(key).ok_or(NotAKey::Public)?;
        let [ED25519, raw @ ..] = typed else {
            return Err(NotAKey::Public);
        };
        let key = Self(raw);
        if name.is_empty() || key.id(name).to_string() != id {
            return Err(NotAKey::Public);
        }
        Ok((name.to_owned(), key))
    }

    /// Whether this key signed the message: strictly, so that no second signature of the same
    /// message and no weak key passes.
    pub fn signed(&self, message: &[u8], signature: &Signature) -> bool {
        let signature = ed25519_dalek::Signature::from_bytes(&signature.0);
        VerifyingKey::from_bytes(&self.0)
            .is_ok_and(|key| key.verify_strict(message, &signature).is_ok())
    }
}

fn decode<const N: usize>(text: &str) -> Option<[u8; N]> {
    BASE64_STANDARD.decode(text).ok()?.try_into().ok()
}

impl TryFrom<String> for PublicKey {
    type Error = NotAKey;

    fn try_from(text: String) -> Result<Self, NotAKey> {
        decode(&text).map(Self).ok_or(NotAKey::Public)
    }
}

impl From<PublicKey> for String {
    fn from(key: PublicKey) -> Self {
        BASE64_STANDARD.encode(key.0)
    }
}

impl TryFrom<String> for Signature {
    type Error = NotAKey;

    fn try_from(text: String) -> Result<Self, NotAKey> {
        decode(&text).map(Self).ok_or(NotAKey::Signature)
    }
}

impl From<Signature> for String {
    fn from(signature: Signature) -> Self {
        BASE64_STANDARD.encode(signature.0)
    }
}

impl TryFrom<String> for KeyId {
    type Error = NotAKey;

    fn try_from(text: String) -> Result<Self, NotAKey> {
        let mut bytes = [0; 4];
        hex::decode_to_slice(&text, &mut bytes).map_err(|_| NotAKey::Id)?;
        Ok(Self(bytes))
    }
}

impl From<KeyId> for String {
    fn from(id: KeyId) -> Self {
        id.to_string()
    }
}

impl fmt::Display for KeyId {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&hex::encode(self.0))
    }
}

impl fmt::Debug for KeyId {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        fmt::Display::fmt(self, f)
    }
}

impl fmt::Display for PublicKey {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&String::from(*self))
    }
}

impl fmt::Debug for PublicKey {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        fmt::Display::fmt(self, f)
    }
}

impl fmt::Debug for Signature {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&String::from(*self))
    }
}

impl fmt::Debug for SealingKey {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "SealingKey(public {})", self.public())
    }
}

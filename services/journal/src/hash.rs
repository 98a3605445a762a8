//! SHA-256 values, and the ways in which the journal makes them.

use std::fmt;
use std::str::FromStr;

use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};

/// A SHA-256 value: exactly 32 bytes. As text: 64 lower-case hexadecimal digits.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(try_from = "String", into = "String")]
pub struct Hash(pub [u8; 32]);

/// A text or a run of bytes is not a SHA-256 value.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
#[error("a hash is exactly 32 bytes, as 64 lower-case hexadecimal digits")]
pub struct NotAHash;

/// Bytes of the salt that hides a name in its [`commitment`].
pub const SALT_BYTES: usize = 16;

/// SHA-256 of bytes as they are (a report, an attachment).
pub fn digest(bytes: &[u8]) -> Hash {
    Hash(Sha256::digest(bytes).into())
}

/// The leaf of an entry: SHA-256 of `0x00` and its canonical bytes (RFC 9162 section 2.1.1).
pub fn leaf(bytes: &[u8]) -> Hash {
    Hash(Sha256::new().chain_update([0x00]).chain_update(bytes).finalize().into())
}

/// The node above two nodes: SHA-256 of `0x01`, left and right (RFC 9162 section 2.1.1).
pub fn node(left: &Hash, right: &Hash) -> Hash {
    Hash(
        Sha256::new()
            .chain_update([0x01])
            .chain_update(left.0)
            .chain_update(right.0)
            .finalize()
            .into(),
    )
}

/// What stands in the hashed bytes for a person: SHA-256 of the salt and the name. The name and
/// its salt stand beside the entry and can be erased without breaking the journal.
pub fn commitment(salt: &[u8; SALT_BYTES], name: &str) -> Hash {
    Hash(Sha256::new().chain_update(salt).chain_update(name).finalize().into())
}

impl fmt::Display for Hash {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&hex::encode(self.0))
    }
}

impl fmt::Debug for Hash {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        fmt::Display::fmt(self, f)
    }
}

impl FromStr for Hash {
    type Err = NotAHash;

    fn from_str(text: &str) -> Result<Self, NotAHash> {
        if text.bytes().any(|byte| byte.is_ascii_uppercase()) {
            return Err(NotAHash);
        }
        let mut bytes = [0; 32];
        hex::decode_to_slice(text, &mut bytes).map_err(|_| NotAHash)?;
        Ok(Self(bytes))
    }
}

impl TryFrom<String> for Hash {
    type Error = NotAHash;

    fn try_from(text: String) -> Result<Self, NotAHash> {
        text.parse()
    }
}

impl From<Hash> for String {
    fn from(hash: Hash) -> Self {
        hash.to_string()
    }
}

impl TryFrom<&[u8]> for Hash {
    type Error = NotAHash;

    fn try_from(bytes: &[u8]) -> Result<Self, NotAHash> {
        bytes.try_into().map(Self).map_err(|_| NotAHash)
    }
}

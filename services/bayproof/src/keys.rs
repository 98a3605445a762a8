//! Keys that were not given: made once, kept in the data folder, readable to this user alone.

use std::fs::{self, OpenOptions};
use std::io::{ErrorKind, Read as _, Write as _};
use std::os::unix::fs::{MetadataExt as _, OpenOptionsExt as _};
use std::path::{Path, PathBuf};

use api::auth::TokenKeys;
use journal::key::SealingKey;

use crate::Outcome;
use crate::cli::{DataSettings, KeySettings};

/// The data folder, made if it is not there.
pub(crate) fn folder(settings: &DataSettings) -> Outcome<PathBuf> {
    let folder = match &settings.data {
        Some(folder) => std::path::absolute(folder)?,
        None => cluster::default_folder()?,
    };
    fs::create_dir_all(&folder)
        .map_err(|error| format!("can't make the data folder {}: {error}", folder.display()))?;
    Ok(folder)
}

/// The keys that tokens are signed and checked with.
pub(crate) fn of_tokens(keys: &KeySettings, data: &DataSettings) -> Outcome<TokenKeys> {
    Ok(match &keys.token_secret {
        Some(secret) => TokenKeys::new(secret.as_bytes())?,
        None => TokenKeys::new(&kept(&folder(data)?, "token-key")?)?,
    })
}

/// The key that checkpoints of the journal are signed with: 64 hex digits, or one kept in the data folder.
pub(crate) fn of_sealing(given: Option<&str>, data: &DataSettings) -> Outcome<SealingKey> {
    let seed = match given {
        Some(digits) => {
            seed(digits).ok_or("the signing key's seed must be 64 hexadecimal digits")?
        }
        None => kept(&folder(data)?, "signing-key")?,
    };
    Ok(SealingKey::from_seed(&seed))
}

fn seed(digits: &str) -> Option<[u8; 32]> {
    let digits: Vec<u8> = digits
        .chars()
        .map(|c| c.to_digit(16).and_then(|d| u8::try_from(d).ok()))
        .collect::<Option<_>>()?;
    let bytes: Vec<u8> = digits.chunks_exact(2).map(|pair| pair[0] << 4 | pair[1]).collect();
    (digits.len() == 64).then(|| bytes.try_into().ok()).flatten()
}

/// 32 random bytes under this name in the folder.
pub(crate) fn kept(folder: &Path, name: &str) -> Outcome<[u8; 32]> {
    let path = folder.join(name);
    let at = |error: std::io::Error| format!("{}: {error}", path.display());
    // Written beside and then linked: whoever finds the name finds the whole key.
    if !path.exists() {
        let begun = folder.join(format!("{name}.{}", std::process::id()));
        let mut key = [0; 32];
        fs::File::open("/dev/urandom").and_then(|mut random| random.read_exact(&mut key))?;
        let file =
            OpenOptions::new().write(true).create(true).truncate(true).mode(0o600).open(&begun);
        file.and_then(|mut file| file.write_all(&key)).map_err(at)?;
        let linked = fs::hard_link(&begun, &path);
        fs::remove_file(&begun).map_err(at)?;
        match linked {
            Err(error) if error.kind() != ErrorKind::AlreadyExists => return Err(at(error).into()),
            _ => {}
        }
    }
    let found = fs::symlink_metadata(&path).map_err(at)?;
    if !found.is_file() || found.mode() & 0o077 != 0 {
        return Err(format!(
            "{} must be a file that only its owner reads (chmod 600)",
            path.display()
        )
        .into());
    }
    let bytes = fs::read(&path).map_err(at)?;
    let key = bytes.try_into();
    key.map_err(|_| format!("{} must hold 32 bytes", path.display()).into())
}

#[cfg(test)]
mod tests {
    use std::os::unix::fs::PermissionsExt as _;

    use super::*;

    #[test]
    fn a_key_is_made_once_and_kept_to_its_owner() {
        let folder = std::env::temp_dir().join(format!("bayproof-keys-{}", std::process::id()));
        fs::create_dir_all(&folder).expect("makes");
        let first = kept(&folder, "key").expect("made");
        assert_eq!(kept(&folder, "key").expect("kept"), first);
        let path = folder.join("key");
        assert_eq!(fs::metadata(&path).expect("there").mode() & 0o777, 0o600);
        fs::set_permissions(&path, fs::Permissions::from_mode(0o644)).expect("set");
        assert!(kept(&folder, "key").is_err(), "a key that others can read is refused");
        fs::remove_dir_all(&folder).expect("removes");
    }
}

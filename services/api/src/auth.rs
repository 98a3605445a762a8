//! Bearer tokens (RFC 6750, RFC 7519, RFC 8725, RFC 9068): one algorithm, one issuer, one audience.

use std::collections::BTreeSet;

use chrono::DateTime;
use domain::role::Role;
use jsonwebtoken::{Algorithm, DecodingKey, EncodingKey, Header, Validation};
use serde::{Deserialize, Serialize};
use uuid::Uuid;
use workflow::caller::{Caller, FRESH_MINUTES};

/// Who issues tokens, and for whom.
pub const ISSUER: &str = "bayproof";
/// The audience that a token must name.
pub const AUDIENCE: &str = "bayproof";
/// The token's type (RFC 9068), so that no other kind of token passes for one.
const TYPE: &str = "at+jwt";
/// Seconds by which clocks may differ.
const LEEWAY: u64 = 5;

/// What a token says.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct Claims {
    /// Issuer.
    pub iss: String,
    /// Audience.
    pub aud: String,
    /// Until when, Unix time in seconds.
    pub exp: i64,
    /// Who calls.
    pub sub: String,
    /// The shop's id.
    pub shop: Uuid,
    /// Roles.
    pub roles: BTreeSet<Role>,
    /// The technician that the token is for.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub technician: Option<Uuid>,
    /// When the person signed in, Unix time in seconds.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub auth_time: Option<i64>,
}

/// The key that tokens are signed and checked with (HS256, at least 32 bytes).
#[derive(Clone)]
pub struct TokenKeys {
    encoding: EncodingKey,
    decoding: DecodingKey,
    validation: Validation,
}

/// The token cannot be made or is not valid.
#[derive(Debug, thiserror::Error)]
pub enum TokenError {
    /// The secret is shorter than 32 bytes.
    #[error("the token secret must have at least 32 bytes")]
    SecretTooShort,
    /// The token does not hold.
    #[error("the token is not valid: {0}")]
    Invalid(#[from] jsonwebtoken::errors::Error),
    /// It is a token of another type.
    #[error("the token is not an access token (`typ` must be `{TYPE}`)")]
    Type,
    /// A technician's token names no technician.
    #[error("a technician's token must name the technician")]
    NoTechnician,
}

impl TokenKeys {
    /// Keys from a shared secret of at least 32 bytes.
    pub fn new(secret: &[u8]) -> Result<Self, TokenError> {
        if secret.len() < 32 {
            return Err(TokenError::SecretTooShort);
        }
        let mut validation = Validation::new(Algorithm::HS256);
        validation.set_issuer(&[ISSUER]);
        validation.set_audience(&[AUDIENCE]);
        validation.set_required_spec_claims(&["exp", "iss", "aud", "sub"]);
        validation.validate_nbf = true;
        validation.leeway = LEEWAY;
        Ok(Self {
            encoding: EncodingKey::from_secret(secret),
            decoding: DecodingKey::from_secret(secret),
            validation,
        })
    }

    /// Writes a token.
    pub fn write(&self, claims: &Claims) -> Result<String, TokenError> {
        let mut header = Header::new(Algorithm::HS256);
        header.typ = Some(TYPE.to_owned());
        Ok(jsonwebtoken::encode(&header, claims, &self.encoding)?)
    }

    /// Reads a token and says who calls.
    pub fn read(&self, token: &str) -> Result<Caller, TokenError> {
        let data = jsonwebtoken::decode::<Claims>(token, &self.decoding, &self.validation)?;
        if data.header.typ.as_deref() != Some(TYPE) {
            return Err(TokenError::Type);
        }
        let claims = data.claims;
        if claims.roles.contains(&Role::Technician) && claims.technician.is_none() {
            return Err(TokenError::NoTechnician);
        }
        Ok(Caller {
            shop: claims.shop,
            subject: claims.sub,
            technician: claims.technician.filter(|_| claims.roles.contains(&Role::Technician)),
            roles: claims.roles,
            freshly_signed_in: claims.auth_time.is_some_and(is_fresh),
            signed_in_at: claims.auth_time.and_then(|at| DateTime::from_timestamp(at, 0)),
            client: None,
        })
    }
}

/// Whether a sign-in is fresh. Real time, as a token's end is.
fn is_fresh(signed_in: i64) -> bool {
    let now = i64::try_from(jsonwebtoken::get_current_timestamp()).unwrap_or(i64::MAX);
    // A minute's leeway, for a clock that is ahead.
    (-60..=FRESH_MINUTES * 60).contains(&(now - signed_in))
}

#[cfg(test)]
mod tests {
    use super::*;

    const SECRET: &[u8] = b"0123456789abcdef0123456789abcdef";

    fn claims() -> Claims {
        Claims {
            iss: ISSUER.into(),
            aud: AUDIENCE.into(),
            exp: 4_000_000_000,
            sub: "desk".into(),
            shop: Uuid::nil(),
            roles: [Role::Dispatcher].into(),
            technician: None,
            auth_time: None,
        }
    }

    #[test]
    fn a_token_reads_back_and_another_issuer_audience_or_key_does_not() {
        let keys = TokenKeys::new(SECRET).expect("long enough");
        let read = |claims: &Claims| keys.read(&keys.write(claims).expect("signs"));
        assert_eq!(read(&claims()).expect("reads").subject, "desk");
        assert!(read(&Claims { iss: "other".into(), ..claims() }).is_err());
        assert!(read(&Claims { aud: "other".into(), ..claims() }).is_err());
        assert!(read(&Claims { exp: 1_000_000_000, ..claims() }).is_err());
        let other = TokenKeys::new(b"another secret of thirty-two byte").expect("long enough");
        assert!(other.read(&keys.write(&claims()).expect("signs")).is_err());
    }

    #[test]
    fn a_technicians_token_names_the_technician() {
        let keys = TokenKeys::new(SECRET).expect("long enough");
        let nameless = Claims { roles: [Role::Technician].into(), ..claims() };
        assert!(matches!(
            keys.read(&keys.write(&nameless).expect("signs")),
            Err(TokenError::NoTechnician)
        ));
    }

    /// RFC 8725 3.11 (explicit typing), 2.1 (algorithm `none`); an `exp` as text and a claim given twice are refused too.
    #[test]
    fn tokens_of_another_shape_are_refused() {
        let keys = TokenKeys::new(SECRET).expect("long enough");
        let plain = jsonwebtoken::encode(&Header::new(Algorithm::HS256), &claims(), &keys.encoding)
            .expect("signs");
        assert!(matches!(keys.read(&plain), Err(TokenError::Type)));
        let mut texts = serde_json::to_value(claims()).expect("writes");
        texts["exp"] = "4000000000".into();
        let mut header = Header::new(Algorithm::HS256);
        header.typ = Some(TYPE.to_owned());
        assert!(
            keys.read(&jsonwebtoken::encode(&header, &texts, &keys.encoding).expect("signs"))
                .is_err()
        );
        let good = keys.write(&claims()).expect("signs");
        let body = good.split('.').nth(1).expect("three parts");
        assert!(keys.read(&format!("eyJhbGciOiJub25lIiwidHlwIjoiYXQrand0In0.{body}.")).is_err());
    }

    #[test]
    fn a_short_secret_is_refused() {
        assert!(matches!(TokenKeys::new(b"short"), Err(TokenError::SecretTooShort)));
    }
}

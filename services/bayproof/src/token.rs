//! `token`: a token for trying.

use std::time::{SystemTime, UNIX_EPOCH};

use actix_web::rt;
use api::auth::{AUDIENCE, Claims, ISSUER};
use domain::role::Role;
use uuid::Uuid;
use workflow::flow::Flow;
use workflow::shops;

use crate::cli::TokenSettings;
use crate::database::Database;
use crate::{Outcome, documents, keys};

/// Prints a token.
pub(crate) fn run(settings: &TokenSettings) -> Outcome {
    if settings.role.contains(&Role::Technician) && settings.technician.is_none() {
        return Err("a technician's token names the technician: give --technician ID".into());
    }
    let keys = keys::of_tokens(&settings.keys, &settings.database.data)?;
    let shop = match settings.shop.parse() {
        Ok(id) => id,
        Err(_) => named(settings)?,
    };
    let words: Vec<&str> = settings.role.iter().map(|role| role.word()).collect();
    let role = words.join("+");
    let own = settings.technician.map_or(role.clone(), |id| format!("{role}:{id}"));
    let subject = settings.subject.clone().unwrap_or(own);
    let claims = claims(shop, &settings.role, settings.technician, &subject, settings.hours);
    documents::print(&keys.write(&claims)?)
}

/// Claims that hold from now for so many hours.
pub(crate) fn claims(
    shop: Uuid,
    roles: &[Role],
    technician: Option<Uuid>,
    subject: &str,
    hours: u32,
) -> Claims {
    let now = real_time();
    Claims {
        iss: ISSUER.to_owned(),
        aud: AUDIENCE.to_owned(),
        exp: now + i64::from(hours) * 3600,
        sub: subject.to_owned(),
        shop,
        roles: roles.iter().copied().collect(),
        technician,
        auth_time: Some(now),
    }
}

/// Unix time in seconds.
#[expect(
    clippy::disallowed_methods,
    reason = "tokens end in real time, whatever a demo's clock shows"
)]
pub(crate) fn real_time() -> i64 {
    let since = SystemTime::now().duration_since(UNIX_EPOCH).unwrap_or_default();
    i64::try_from(since.as_secs()).unwrap_or(i64::MAX)
}

fn named(settings: &TokenSettings) -> Outcome<Uuid> {
    let database = Database::open(&settings.database, true)?;
    let found: Outcome<Uuid> = rt::System::new().block_on(async {
        let db = database.connect().await?;
        let found = shops::named(&Flow::new(db.clone()), &settings.shop).await;
        db.close().await;
        Ok(found?)
    });
    database.close()?;
    found
}

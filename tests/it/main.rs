//! The promises of the product, over real HTTP and a real PostgreSQL.

// The model of the lifecycle that is checked beside `domain`, for the walks over the real service.
#[path = "../../services/domain/tests/lifecycle/ending.rs"]
#[expect(dead_code, reason = "the walks end when their time is over")]
mod ending;
#[path = "../../services/domain/tests/lifecycle/floor.rs"]
mod floor;
#[path = "../../services/domain/tests/lifecycle/step.rs"]
#[expect(dead_code, reason = "the walks leave no rule out")]
mod step;
#[path = "../../services/domain/tests/lifecycle/work.rs"]
#[expect(dead_code, reason = "the walks go by what the service derived")]
mod work;

mod amendments;
mod as_time_goes;
mod attachments;
mod backup;
mod bad_monday;
mod chain_again;
mod events;
mod evidence;
mod floor_able;
mod floor_people;
mod floor_seen;
mod floor_vehicle;
mod floor_walks;
mod guards;
mod guards_sql;
mod harness;
mod instruments;
mod intake;
mod isolation;
mod labour_words;
mod late;
mod layers;
mod limits;
mod lines;
mod means;
mod planning;
mod queries;
mod reasons;
mod service_modes;
mod shelf;
mod steady;
mod stories;
mod throughout;
mod uploads;
mod waivers;
mod walk;
mod watching;
mod whole_order;
mod worker;
mod working;

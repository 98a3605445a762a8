//! Shop days: `shop-instance/1` and `shop-plan/1`, in whole minutes.

use super::Unreadable;
use crate::model::{
    Bay, Duration, Edge, Job, Model, Moving, Order, Placement, Pool, Technician, Ticks, Vehicle,
    Weights,
};
use crate::outcome::Plan;
use serde::Deserialize;
use serde_json::{Map, Value, json};
use std::collections::{BTreeMap, HashMap, HashSet};

/// A shop day as it is written.
#[derive(Debug, Clone, Deserialize)]
pub struct ShopDay {
    format: String,
    name: String,
    now: Ticks,
    horizon: Ticks,
    #[serde(rename = "move")]
    moving: Move,
    bays: Vec<BayText>,
    technicians: Vec<TechnicianText>,
    equipment: Vec<PoolText>,
    orders: Vec<OrderText>,
}

#[derive(Debug, Clone, Deserialize)]
struct Move {
    same_zone: Ticks,
    other_zone: Ticks,
    cost: i64,
}

#[derive(Debug, Clone, Deserialize)]
struct BayText {
    id: String,
    zone: String,
    capabilities: Vec<String>,
    #[serde(default)]
    closed: Vec<(Ticks, Ticks)>,
}

#[derive(Debug, Clone, Deserialize)]
struct TechnicianText {
    id: String,
    zones: Vec<String>,
    skills: Vec<String>,
    shifts: Vec<(Ticks, Ticks)>,
}

#[derive(Debug, Clone, Deserialize)]
struct PoolText {
    kind: String,
    zone: Option<String>,
    capacity: u32,
}

#[derive(Debug, Clone, Deserialize)]
struct OrderText {
    id: String,
    zones: Vec<String>,
    release: Ticks,
    due: Ticks,
    weight: i64,
    tasks: Vec<TaskText>,
}

#[derive(Debug, Clone, Deserialize)]
struct TaskText {
    id: String,
    minutes: Ticks,
    bay: Option<Vec<String>>,
    skills: Option<Vec<String>>,
    #[serde(default)]
    equipment: BTreeMap<String, u32>,
    #[serde(default)]
    after: Vec<AfterText>,
    frozen: Option<FrozenText>,
}

#[derive(Debug, Clone, Deserialize)]
struct AfterText {
    task: String,
    wait: Ticks,
}

#[derive(Debug, Clone, Deserialize)]
struct FrozenText {
    start: Ticks,
    bay: Option<String>,
    technician: Option<String>,
}

impl ShopDay {
    /// Reads the JSON.
    pub fn read(text: &str) -> Result<Self, Unreadable> {
        let day: Self = serde_json::from_str(text)?;
        if day.format != "shop-instance/1" {
            return Err(Unreadable::ShopDay(format!(
                "format `{}` instead of `shop-instance/1`",
                day.format
            )));
        }
        day.check()?;
        Ok(day)
    }

    /// Refuses what no shop has: times and weights beyond all bounds, and two tasks of one name.
    fn check(&self) -> Result<(), Unreadable> {
        let time = |what: &str, at: Ticks| within(what, at, -LATEST, LATEST);
        let length = |what: &str, ticks: Ticks| within(what, ticks, 0, LATEST);
        time("now", self.now)?;
        time("horizon", self.horizon)?;
        for way in [self.moving.same_zone, self.moving.other_zone, self.moving.cost] {
            length("move", way)?;
        }
        let closed = self.bays.iter().flat_map(|bay| &bay.closed);
        let shifts = self.technicians.iter().flat_map(|technician| &technician.shifts);
        for &(from, to) in closed.chain(shifts) {
            time("a window", from)?;
            time("a window", to)?;
            if to < from {
                let what = format!("a window from {from} ends before it begins, at {to}");
                return Err(Unreadable::ShopDay(what));
            }
        }
        once("bay", self.bays.iter().map(|bay| bay.id.as_str()))?;
        once("technician", self.technicians.iter().map(|technician| technician.id.as_str()))?;
        let mut known = HashSet::new();
        for order in &self.orders {
            time("release", order.release)?;
            time("due", order.due)?;
            within("weight", order.weight, 0, 100_000)?;
            for task in &order.tasks {
                length("minutes", task.minutes)?;
                if let Some(frozen) = &task.frozen {
                    time("start", frozen.start)?;
                }
                for edge in &task.after {
                    time("wait", edge.wait)?;
                }
                if !known.insert(task.id.as_str()) {
                    return Err(Unreadable::ShopDay(format!("two tasks `{}`", task.id)));
                }
            }
        }
        Ok(())
    }

    /// The shop day as a model; one tick is a minute.
    pub fn model(&self) -> Result<Model, Unreadable> {
        let mut zones: HashMap<&str, usize> = HashMap::new();
        let bays = self.bays.iter().map(|bay| &bay.zone);
        for name in bays
            .chain(self.technicians.iter().flat_map(|t| &t.zones))
            .chain(self.orders.iter().flat_map(|o| &o.zones))
        {
            let next = zones.len();
            zones.entry(name).or_insert(next);
        }
        let zone =
            |name: &String| zones.get(name.as_str()).copied().ok_or_else(|| missing("zone", name));
        let zone_list = |names: &[String]| names.iter().map(zone).collect::<Result<Vec<_>, _>>();
        let mut model = Model {
            now: self.now,
            horizon: self.horizon,
            moving: Moving { same_zone: self.moving.same_zone, other_zone: self.moving.other_zone },
            weights: Weights { moving: self.moving.cost, ..Weights::default() },
            ..Model::default()
        };
        for bay in &self.bays {
            let (name, capabilities, closed) =
                (bay.id.clone(), bay.capabilities.clone(), bay.closed.clone());
            model.bays.push(Bay { name, zone: zone(&bay.zone)?, capabilities, closed });
        }
        for technician in &self.technicians {
            let (name, skills, shifts) =
                (technician.id.clone(), technician.skills.clone(), technician.shifts.clone());
            model.technicians.push(Technician {
                name,
                zones: zone_list(&technician.zones)?,
                skills,
                shifts,
            });
        }
        for pool in &self.equipment {
            let place = pool.zone.as_ref().map(|name| zones.get(name.as_str()).copied());
            if place != Some(None) {
                model.pools.push(Pool {
                    kind: pool.kind.clone(),
                    zone: place.flatten(),
                    capacity: pool.capacity,
                });
            }
        }
        for order in &self.orders {
            self.add(&mut model, order, zone_list(&order.zones)?)?;
        }
        Ok(model)
    }

    fn add(
        &self,
        model: &mut Model,
        order: &OrderText,
        zones: Vec<usize>,
    ) -> Result<(), Unreadable> {
        let number = model.orders.len();
        let first = model.jobs.len();
        model.vehicles.push(Vehicle::default());
        model.orders.push(Order {
            name: order.id.clone(),
            vehicle: number,
            zones,
            release: order.release,
            promised: Some(order.due),
            weight: order.weight,
        });
        for task in &order.tasks {
            let after = model.jobs.len();
            for edge in &task.after {
                let before = order
                    .tasks
                    .iter()
                    .position(|other| other.id == edge.task)
                    .ok_or_else(|| missing("task", &edge.task))?;
                model.edges.push(Edge { before: first + before, after, wait: edge.wait });
            }
            let fixed =
                task.frozen.as_ref().map(|frozen| self.frozen(frozen, task.minutes)).transpose()?;
            model.jobs.push(Job {
                name: task.id.clone(),
                order: number,
                duration: Duration::sure(task.minutes),
                bay: task.bay.clone(),
                people: task.skills.iter().cloned().collect(),
                equipment: task.equipment.clone().into_iter().collect(),
                fixed,
                ..Job::default()
            });
        }
        Ok(())
    }

    fn frozen(&self, frozen: &FrozenText, minutes: Ticks) -> Result<Placement, Unreadable> {
        let bay = frozen.bay.as_ref().map(|name| {
            self.bays.iter().position(|bay| bay.id == *name).ok_or_else(|| missing("bay", name))
        });
        let who = frozen.technician.as_ref();
        let who = who.map(|name| {
            self.technicians
                .iter()
                .position(|one| one.id == *name)
                .ok_or_else(|| missing("technician", name))
        });
        Ok(Placement {
            start: frozen.start,
            end: frozen.start + minutes,
            bay: bay.transpose()?,
            technicians: who.transpose()?.into_iter().collect(),
        })
    }

    /// The plan as `shop-plan/1`; what is unplanned stands with its reason under `unplanned`.
    pub fn print(&self, plan: &Plan) -> Result<String, Unreadable> {
        let tasks: Vec<&TaskText> = self.orders.iter().flat_map(|order| &order.tasks).collect();
        let mut placed = Map::new();
        for (task, placement) in tasks.iter().zip(&plan.placements) {
            if let Some(placement) = placement {
                let bay = placement.bay.map(|bay| self.bays[bay].id.as_str());
                let technician =
                    placement.technicians.first().map(|&who| self.technicians[who].id.as_str());
                placed.insert(
                    task.id.clone(),
                    json!({ "start": placement.start, "bay": bay, "technician": technician }),
                );
            }
        }
        let mut printed =
            json!({ "format": "shop-plan/1", "instance": self.name, "note": "", "tasks": placed });
        if !plan.unplanned.is_empty() {
            let reasons: Map<String, Value> = plan
                .unplanned
                .iter()
                .map(|entry| (tasks[entry.job].id.clone(), json!(entry.reason.to_string())))
                .collect();
            printed["unplanned"] = Value::Object(reasons);
        }
        Ok(serde_json::to_string(&printed)?)
    }
}

/// No moment is further from the origin than this many minutes.
const LATEST: Ticks = 1_000_000_000;

fn once<'n>(what: &str, mut names: impl Iterator<Item = &'n str>) -> Result<(), Unreadable> {
    let mut known = HashSet::new();
    match names.find(|name| !known.insert(*name)) {
        Some(twice) => Err(Unreadable::ShopDay(format!("{what} `{twice}` twice"))),
        None => Ok(()),
    }
}

fn within(what: &str, value: i64, least: i64, most: i64) -> Result<(), Unreadable> {
    if (least..=most).contains(&value) {
        Ok(())
    } else {
        Err(Unreadable::ShopDay(format!("{what} {value} is not between {least} and {most}")))
    }
}

fn missing(what: &str, name: &str) -> Unreadable {
    Unreadable::ShopDay(format!("{what} `{name}` is not there"))
}

//! What there is to plan, and on what: the planner's own picture of a shop.
//!
//! Everything refers to everything else by its index in the model's lists.

/// A moment or a length of time in whole units from the caller's origin (the service uses seconds).
pub type Ticks = i64;
/// Index into [`Model::jobs`].
pub type JobId = usize;
/// Index into [`Model::orders`].
pub type OrderId = usize;
/// Index into [`Model::bays`].
pub type BayId = usize;
/// Index into [`Model::technicians`].
pub type TechnicianId = usize;
/// A zone: bays in one zone are close to each other.
pub type Zone = usize;

/// A shop's open work and what it can be done with.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Model {
    /// The moment of planning: what is not fixed starts now or later.
    pub now: Ticks,
    /// Every job ends at this moment at the latest.
    pub horizon: Ticks,
    /// What a change of bay costs in time.
    pub moving: Moving,
    /// What counts how much.
    pub weights: Weights,
    /// Bays.
    pub bays: Vec<Bay>,
    /// Technicians.
    pub technicians: Vec<Technician>,
    /// Shared equipment.
    pub pools: Vec<Pool>,
    /// Vehicles; one has one place and one job at a time, whatever order it belongs to.
    pub vehicles: Vec<Vehicle>,
    /// Repair orders.
    pub orders: Vec<Order>,
    /// Tasks and lines of mechanical work.
    pub jobs: Vec<Job>,
    /// What comes before what.
    pub edges: Vec<Edge>,
    /// Brackets and what must not fall inside them.
    pub brackets: Vec<Bracket>,
    /// Spans in which a dismantled vehicle keeps its bay.
    pub immobile: Vec<Immobile>,
    /// The plan in force by job (empty: none). Departures from it are priced with [`Weights::change`].
    pub in_force: Vec<Option<Placement>>,
    /// Jobs that the plan in force starts before this moment stay where they are, if they still can.
    pub keep_until: Ticks,
}

/// How long a vehicle takes from one bay to another; no time within a bay, to the road or from it.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Moving {
    /// Between two bays of one zone.
    pub same_zone: Ticks,
    /// Between two bays of different zones.
    pub other_zone: Ticks,
}

/// What one unit of each part of the objective costs. Whole numbers; zero leaves a part out.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Weights {
    /// Per tick that an order is late, times the order's weight.
    pub tardiness: i64,
    /// Per tick between an order's release and its end, times the order's weight.
    pub flow: i64,
    /// Per change of bay.
    pub moving: i64,
    /// Per job that the plan in force has at another start, bay or technician.
    pub change: i64,
    /// Per tick until everything is done (zero in a shop; classic job shops ask for it alone).
    pub makespan: i64,
}

impl Default for Weights {
    /// Lateness above all, five ticks of it a move; no flow, no price for changes.
    fn default() -> Self {
        Self { tardiness: 1, flow: 0, moving: 5, change: 0, makespan: 0 }
    }
}

/// A bay.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Bay {
    /// Name for people.
    pub name: String,
    /// Where it lies.
    pub zone: Zone,
    /// What it offers: `lift`, `level`, `rack` ...
    pub capabilities: Vec<String>,
    /// When it can't be used, `[from, to)`, in any order.
    pub closed: Vec<(Ticks, Ticks)>,
}

/// A technician.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Technician {
    /// Name for people.
    pub name: String,
    /// Where this person works; empty: everywhere.
    pub zones: Vec<Zone>,
    /// What this person may do.
    pub skills: Vec<String>,
    /// When this person is there, `[from, to)`, breaks left out, in any order.
    pub shifts: Vec<(Ticks, Ticks)>,
}

/// Equal units of one kind of equipment.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Pool {
    /// Kind: `scan_tool` ...
    pub kind: String,
    /// The zone it serves; none: every zone that has no pool of this kind of its own.
    pub zone: Option<Zone>,
    /// How many units there are.
    pub capacity: u32,
}

/// A vehicle.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Vehicle {
    /// The bay in which it stands now; none: outside.
    pub stands_in: Option<BayId>,
}

/// A repair order: one vehicle's visit.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Order {
    /// Number for people.
    pub name: String,
    /// Index into [`Model::vehicles`].
    pub vehicle: usize,
    /// Where it may be worked on, the home zone first; empty: everywhere, home is zone 0.
    pub zones: Vec<Zone>,
    /// When the vehicle is there.
    pub release: Ticks,
    /// When it was promised.
    pub promised: Option<Ticks>,
    /// How much it counts; at least 0.
    pub weight: i64,
}

/// A task or a line's mechanical work.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Job {
    /// Title for people.
    pub name: String,
    /// The order.
    pub order: OrderId,
    /// How long it takes.
    pub duration: Duration,
    /// Not before this moment (parts, a wait that already runs).
    pub earliest: Ticks,
    /// What the bay must offer; `Some` of nothing: any bay; `None`: on the road.
    pub bay: Option<Vec<String>>,
    /// Machines of a job shop: where it can be done instead, and how long it takes there (empty: `bay` and `duration` say it).
    pub lengths: Vec<(BayId, Ticks)>,
    /// Skills of each person it takes: nobody, one, or two different people.
    pub people: Vec<Vec<String>>,
    /// Units by kind, held for the whole job.
    pub equipment: Vec<(String, u32)>,
    /// What must pass after its end.
    pub settle: Settle,
    /// It may pause over a gap in the one technician's shifts that is no longer than this (a lunch break).
    pub pause: Option<Ticks>,
    /// Running, taken or otherwise not to be moved.
    pub fixed: Option<Placement>,
    /// Where the dispatcher wants it.
    pub pin: Pin,
}

/// How long a job takes; planned on `likely`.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Duration {
    /// At least.
    pub least: Ticks,
    /// Most likely.
    pub likely: Ticks,
    /// At most.
    pub most: Ticks,
}

impl Duration {
    /// A duration that is certain.
    #[must_use]
    pub const fn sure(ticks: Ticks) -> Self {
        Self { least: ticks, likely: ticks, most: ticks }
    }
}

/// A settling time after the end of a job: the people are free, the equipment too.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Settle {
    /// How long.
    pub ticks: Ticks,
    /// Every job of the vehicle waits for it; otherwise only the job's followers.
    pub blocks_vehicle: bool,
    /// The vehicle stays in the bay, and the bay stays taken.
    pub keeps_bay: bool,
}

/// What the dispatcher fixed of a job.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Pin {
    /// In this bay.
    pub bay: Option<BayId>,
    /// With this technician among its people.
    pub technician: Option<TechnicianId>,
    /// At this time.
    pub start: Option<Ticks>,
}

/// `after` starts no earlier than `before` ends, plus what `before` settles, or plus `wait` if that is longer.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Edge {
    /// Comes first.
    pub before: JobId,
    /// Comes later.
    pub after: JobId,
    /// Least time between.
    pub wait: Ticks,
}

/// All of `inside` lies wholly before `outside`, or wholly after it (all on one vehicle).
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Bracket {
    /// What belongs into the bracket.
    pub inside: Vec<JobId>,
    /// It was entered before the planning began: `outside` comes after.
    pub entered: bool,
    /// What must not fall inside it.
    pub outside: JobId,
}

/// From the start of `from` until the end of `until` the vehicle can't leave its bay, and the bay takes no other.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Immobile {
    /// Takes the vehicle apart; none: it already is, where it stands ([`Vehicle::stands_in`]).
    pub from: Option<JobId>,
    /// Makes it mobile again.
    pub until: JobId,
}

/// Where and when a job is done, and by whom.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
pub struct Placement {
    /// From.
    pub start: Ticks,
    /// Until.
    pub end: Ticks,
    /// The bay; none on the road.
    pub bay: Option<BayId>,
    /// Who, in the order of [`Job::people`].
    pub technicians: Vec<TechnicianId>,
}

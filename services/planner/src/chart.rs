//! The plan while it is built and searched: every vehicle, bay and person is a row, a chain of the jobs it serves one after another.
//!
//! A job sits in one row with each of its *seats*. What it leaves behind in a row (until when it is taken, where the vehicle stands, whose the bay is) is
//! kept with the job, so that its follower in the row needs to look at nobody else. The changes are logged and can be taken back.

use crate::calendar::NEVER;
use crate::model::Ticks;
use crate::shop::{NONE, Shop, Spot, index};
use crate::uses::Uses;

/// The seat in the row of the vehicle, of the bay, of the first person.
pub(crate) const VEHICLE: usize = 0;
pub(crate) const BAY: usize = 1;
pub(crate) const PEOPLE: usize = 2;
/// A job has two to this power seats.
const SHIFT: u32 = 2;
/// Long before anything.
pub(crate) const EVER: Ticks = NEVER / -2;

/// A job's turn: in a row, the lower comes first.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) struct Turn {
    at: Ticks,
    rank: u32,
}

impl Turn {
    /// After everything.
    pub(crate) const LAST: Self = Self { at: Ticks::MAX, rank: NONE };

    /// The turn of a job that lies there; what takes no time comes first.
    pub(crate) const fn of(start: Ticks, end: Ticks, rank: u32) -> Self {
        Self { at: start, rank: rank | if start == end { 1 << 30 } else { 1 << 31 } }
    }

    /// Just before what lies at that moment; among those that are put there, by rank.
    pub(crate) const fn ahead_of(start: Ticks, rank: u32) -> Self {
        Self { at: start, rank }
    }
}

/// A vehicle after a job.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Car {
    pub(crate) free: Ticks,
    /// When it may leave the bay that it last stood in.
    pub(crate) left: Ticks,
    pub(crate) place: u32,
    pub(crate) immobile: bool,
    /// Fixed work only so far.
    pub(crate) untouched: bool,
}

/// A bay after a job: until when it is taken, and the vehicle that can't leave it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Stand {
    pub(crate) free: Ticks,
    pub(crate) holder: u32,
}

/// A job on the chart.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Node {
    pub(crate) turn: Turn,
    /// From when on everything it takes was free, whatever the calendars say.
    pub(crate) ready: Ticks,
    /// [`NEVER`]: not placed.
    pub(crate) start: Ticks,
    pub(crate) end: Ticks,
    pub(crate) spot: Spot,
    pub(crate) car: Car,
    pub(crate) stand: Stand,
    /// It may not begin before the plan in force has it.
    pub(crate) hold: bool,
    /// What it adds to the cost by itself, apart from the end of its order.
    pub(crate) cost: i64,
}

impl Node {
    pub(crate) const fn placed(&self) -> bool {
        self.start < NEVER
    }

    /// Takes the turn of where it lies; what is not placed comes after everything.
    pub(crate) const fn renew_turn(&mut self, rank: u32) {
        let end = if self.placed() { self.end } else { NEVER + 1 };
        self.turn = Turn::of(self.start, end, rank);
    }
}

/// A job's place in a row, between its neighbours' seats; row [`NONE`]: it sits nowhere.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Seat {
    pub(crate) row: u32,
    pub(crate) before: u32,
    pub(crate) next: u32,
}

/// The number of a job's seat.
#[inline]
pub(crate) const fn seat(job: usize, role: usize) -> u32 {
    index((job << SHIFT) + role)
}

/// The numbers of all seats of a job.
pub(crate) const fn seats_of(job: usize) -> std::ops::Range<u32> {
    index(job << SHIFT)..index((job + 1) << SHIFT)
}

/// Whose seat it is, and which.
#[inline]
pub(crate) const fn owner(seat: u32) -> (usize, usize) {
    ((seat >> SHIFT) as usize, (seat & ((1 << SHIFT) - 1)) as usize)
}

const NOWHERE: Seat = Seat { row: NONE, before: NONE, next: NONE };

/// All rows and jobs.
#[derive(Debug, Clone)]
pub(crate) struct Chart {
    pub(crate) nodes: Vec<Node>,
    seats: Vec<Seat>,
    /// First and last seat by row: bays, technicians, vehicles.
    rows: Vec<(u32, u32)>,
    /// Equipment in use, by pool.
    pub(crate) uses: Vec<Uses>,
    pub(crate) cars: Vec<Car>,
    pub(crate) stands: Vec<Stand>,
    /// Seats taken and left since the last [`Chart::keep`]; with what they were before if left.
    log: Vec<(u32, Option<Seat>)>,
    /// By technician, when free, and when also at work; scratch of [`Chart::choose`].
    pub(crate) frees: Vec<(Ticks, Ticks)>,
}

impl Chart {
    /// Nothing placed.
    pub(crate) fn new(shop: &Shop<'_>) -> Self {
        let model = shop.model;
        let mut stands = vec![Stand { free: EVER, holder: NONE }; shop.bays];
        let cars: Vec<Car> = (model.vehicles.iter().zip(&shop.immobile_now).enumerate())
            .map(|(number, (vehicle, &immobile))| {
                let place = vehicle.stands_in.map_or(NONE, index);
                if immobile {
                    stands[place as usize].holder = index(number);
                }
                Car { free: EVER, left: model.now, place, immobile, untouched: true }
            })
            .collect();
        let node = |work: &crate::shop::Work| Node {
            turn: Turn::of(NEVER, NEVER + 1, work.rank),
            ready: NEVER,
            start: NEVER,
            end: NEVER,
            spot: Spot::NOWHERE,
            car: cars[work.vehicle as usize],
            stand: Stand { free: EVER, holder: NONE },
            hold: false,
            cost: 0,
        };
        Self {
            nodes: shop.works.iter().map(node).collect(),
            seats: vec![NOWHERE; shop.works.len() << SHIFT],
            uses: shop.pools.clone(),
            rows: vec![(NONE, NONE); shop.calendars.len() + cars.len()],
            frees: vec![(EVER, EVER); model.technicians.len()],
            cars,
            stands,
            log: Vec::new(),
        }
    }

    #[inline]
    pub(crate) fn at(&self, seat: u32) -> &Seat {
        &self.seats[seat as usize]
    }

    /// The job whose seat it is.
    #[inline]
    pub(crate) fn node(&self, seat: u32) -> &Node {
        &self.nodes[(seat >> SHIFT) as usize]
    }

    /// Whether the job sits in its rows.
    #[inline]
    pub(crate) fn seated(&self, job: usize) -> bool {
        self.at(seat(job, VEHICLE)).row != NONE
    }

    /// The last seat of a row whose turn is earlier.
    pub(crate) fn search(&self, row: u32, turn: Turn) -> u32 {
        let mut seat = self.rows[row as usize].1;
        while seat != NONE && self.node(seat).turn >= turn {
            seat = self.at(seat).before;
        }
        seat
    }

    /// The seat before a job in a row: of its neighbour if it sits there, else of what would be.
    #[inline]
    pub(crate) fn before(&self, job: usize, role: usize, row: u32) -> u32 {
        let seat = self.at(seat(job, role));
        if seat.row == row { seat.before } else { self.search(row, self.nodes[job].turn) }
    }

    /// The first moment at which one of each group of rows is free after all that is placed.
    pub(crate) fn soonest(&self, shop: &Shop<'_>, job: usize, from: Ticks) -> Ticks {
        let work = &shop.works[job];
        let mut at = from;
        for able in &work.people {
            let opens = able.iter().map(|&person| {
                let row = shop.person_row(person) as usize;
                let last = self.rows[row].1;
                let free = if last == NONE { from } else { self.node(last).end.max(from) };
                if work.pause >= 0 { free } else { shop.calendars[row].fit(free, work.least()) }
            });
            at = at.max(first_until(opens, at));
        }
        if work.bays != [NONE] {
            let free = |&bay: &u32| match self.rows[bay as usize].1 {
                NONE => self.stands[bay as usize].free,
                last => self.node(last).stand.free,
            };
            at = at.max(first_until(work.bays.iter().map(free), at));
        }
        at
    }

    /// Takes a seat in a row, by the job's turn.
    pub(crate) fn sit(&mut self, seat: u32, row: u32) {
        let before = self.search(row, self.node(seat).turn);
        let next = if before == NONE { self.rows[row as usize].0 } else { self.at(before).next };
        self.log.push((seat, None));
        self.join(seat, Seat { row, before, next });
    }

    /// Leaves a seat; gives what it was.
    pub(crate) fn leave(&mut self, seat: u32) -> Seat {
        let was = self.part(seat);
        self.log.push((seat, Some(was)));
        was
    }

    fn join(&mut self, seat: u32, place: Seat) {
        let row = &mut self.rows[place.row as usize];
        if place.before == NONE {
            row.0 = seat;
        }
        if place.next == NONE {
            row.1 = seat;
        }
        if place.before != NONE {
            self.seats[place.before as usize].next = seat;
        }
        if place.next != NONE {
            self.seats[place.next as usize].before = seat;
        }
        self.seats[seat as usize] = place;
    }

    fn part(&mut self, seat: u32) -> Seat {
        let was = std::mem::replace(&mut self.seats[seat as usize], NOWHERE);
        let row = &mut self.rows[was.row as usize];
        if was.before == NONE {
            row.0 = was.next;
        }
        if was.next == NONE {
            row.1 = was.before;
        }
        if was.before != NONE {
            self.seats[was.before as usize].next = was.next;
        }
        if was.next != NONE {
            self.seats[was.next as usize].before = was.before;
        }
        was
    }

    /// The seats stay as they are.
    pub(crate) fn keep(&mut self) {
        self.log.clear();
    }

    /// Takes back every change of seats since the last [`Chart::keep`].
    pub(crate) fn take_back(&mut self) {
        while let Some((seat, was)) = self.log.pop() {
            match was {
                Some(was) => self.join(seat, was),
                None => {
                    self.part(seat);
                }
            }
        }
    }

    /// The vehicle as the job finds it.
    #[inline]
    pub(crate) fn car(&self, shop: &Shop<'_>, job: usize) -> Car {
        let vehicle = shop.works[job].vehicle;
        let before = self.before(job, VEHICLE, shop.row_of(vehicle));
        if before == NONE { self.cars[vehicle as usize] } else { self.node(before).car }
    }

    /// The bay as the job finds it.
    #[inline]
    pub(crate) fn stand(&self, job: usize, bay: u32) -> Stand {
        let before = self.before(job, BAY, bay);
        if before == NONE { self.stands[bay as usize] } else { self.node(before).stand }
    }

    /// From when on a person or a unit is free for the job.
    #[inline]
    pub(crate) fn free(&self, job: usize, role: usize, row: u32) -> Ticks {
        let before = self.before(job, role, row);
        if before == NONE { EVER } else { self.node(before).end }
    }

    /// Like [`Chart::free`], for a row in which the job has no seat of its own yet.
    #[inline]
    pub(crate) fn free_at(&self, row: u32, turn: Turn) -> Ticks {
        let before = self.search(row, turn);
        if before == NONE { EVER } else { self.node(before).end }
    }
}

/// The least of some moments, or any that is no later than `enough`.
fn first_until(moments: impl Iterator<Item = Ticks>, enough: Ticks) -> Ticks {
    let mut least = NEVER;
    for moment in moments {
        least = least.min(moment);
        if least <= enough {
            break;
        }
    }
    least
}

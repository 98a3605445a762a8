//! planner

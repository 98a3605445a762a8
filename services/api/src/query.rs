//! Query parameters that do not read: which ones, and what each accepts, from the contract.

use std::collections::{BTreeMap, HashMap};

use actix_web::http::Method;
use actix_web::{HttpRequest, web};
use chrono::DateTime;
use contract::problem::FieldFault;
use serde_json::Value;
use uuid::Uuid;

use crate::problem::Rejection;

/// What every operation takes in its query, by method and path.
pub(crate) struct KnownParameters(HashMap<(Method, String), BTreeMap<String, Parameter>>);

struct Parameter {
    required: bool,
    accepts: Accepts,
}

/// What a parameter accepts.
enum Accepts {
    Words(Vec<String>),
    Whole { least: Option<i64>, most: Option<i64> },
    Id,
    Moment,
    Text,
}

impl KnownParameters {
    /// Those of the document.
    pub(crate) fn of(document: &utoipa::openapi::OpenApi) -> Self {
        let document = serde_json::to_value(document).unwrap_or_default();
        let mut known: HashMap<(Method, String), BTreeMap<String, Parameter>> = HashMap::new();
        for (path, item) in document["paths"].as_object().into_iter().flatten() {
            for (method, operation) in item.as_object().into_iter().flatten() {
                let Ok(method) = method.to_uppercase().parse::<Method>() else { continue };
                let all = known.entry((method, path.clone())).or_default();
                for one in operation["parameters"].as_array().into_iter().flatten() {
                    if one["in"] == "query"
                        && let Some(name) = one["name"].as_str()
                    {
                        let accepts = Accepts::of(&document, &one["schema"]);
                        let required = one["required"] == true;
                        all.insert(name.to_owned(), Parameter { required, accepts });
                    }
                }
            }
        }
        Self(known)
    }

    /// What is wrong with a request's query, parameter by parameter.
    fn faults(&self, request: &HttpRequest) -> Vec<FieldFault> {
        let path = request.match_pattern().unwrap_or_default();
        let Some(known) = self.0.get(&(request.method().clone(), path)) else { return Vec::new() };
        let given = web::Query::<Vec<(String, String)>>::from_query(request.query_string());
        let given = given.map(web::Query::into_inner).unwrap_or_default();
        let fault = |name: &str, detail: String| FieldFault { pointer: name.to_owned(), detail };
        let mut faults: Vec<FieldFault> = known
            .iter()
            .filter(|(name, one)| one.required && !given.iter().any(|(given, _)| given == *name))
            .map(|(name, one)| fault(name, format!("missing; it takes {}", one.accepts.in_words())))
            .collect();
        for (at, (name, text)) in given.iter().enumerate() {
            let again = given[..at].iter().any(|(before, _)| before == name);
            match known.get(name) {
                None => faults.push(fault(name, format!("no parameter here; {}", named(known)))),
                Some(_) if again => faults.push(fault(name, "given more than once".to_owned())),
                Some(one) if !one.accepts.takes(text) => {
                    faults.push(fault(name, format!("takes {}", one.accepts.in_words())));
                }
                Some(_) => {}
            }
        }
        faults
    }
}

/// Refuses a query that does not read, in the contract's words.
pub(crate) fn config() -> web::QueryConfig {
    web::QueryConfig::default().error_handler(|_, request| {
        let known = request.app_data::<web::Data<KnownParameters>>();
        let mut faults = known.map(|known| known.faults(request)).unwrap_or_default();
        if faults.is_empty() {
            // Nothing that a single parameter is to blame for, such as bytes that are no UTF-8.
            let detail = "the query is no list of `name=value`, joined with `&`, in UTF-8";
            faults.push(FieldFault { pointer: "query".to_owned(), detail: detail.to_owned() });
        }
        Rejection::invalid(faults).into()
    })
}

fn named(known: &BTreeMap<String, Parameter>) -> String {
    let names: Vec<String> = known.keys().map(|name| format!("`{name}`")).collect();
    format!("there are {}", names.join(", "))
}

impl Accepts {
    fn of(document: &Value, schema: &Value) -> Self {
        let schema = match schema["$ref"].as_str().and_then(|at| at.strip_prefix('#')) {
            Some(pointer) => document.pointer(pointer).unwrap_or(schema),
            None => schema,
        };
        let words = schema["enum"].as_array().into_iter().flatten();
        let words: Vec<String> = words.filter_map(|w| w.as_str().map(str::to_owned)).collect();
        match (schema["type"].as_str(), schema["format"].as_str()) {
            _ if !words.is_empty() => Self::Words(words),
            (Some("integer"), _) => {
                Self::Whole { least: schema["minimum"].as_i64(), most: schema["maximum"].as_i64() }
            }
            (_, Some("uuid")) => Self::Id,
            (_, Some("date-time")) => Self::Moment,
            _ => Self::Text,
        }
    }

    fn takes(&self, text: &str) -> bool {
        match self {
            Self::Words(words) => words.iter().any(|word| word == text),
            Self::Whole { least, most } => text.parse::<i64>().is_ok_and(|number| {
                least.is_none_or(|least| number >= least) && most.is_none_or(|most| number <= most)
            }),
            Self::Id => text.parse::<Uuid>().is_ok(),
            Self::Moment => DateTime::parse_from_rfc3339(text).is_ok(),
            Self::Text => true,
        }
    }

    fn in_words(&self) -> String {
        match self {
            Self::Words(words) => format!("one of {}", words.join(", ")),
            Self::Whole { least: Some(least), most: Some(most) } => {
                format!("a whole number from {least} to {most}")
            }
            Self::Whole { least: Some(least), .. } => format!("a whole number of at least {least}"),
            Self::Whole { .. } => "a whole number".to_owned(),
            Self::Id => "a UUID".to_owned(),
            Self::Moment => "a moment as RFC 3339 writes it".to_owned(),
            Self::Text => "a text".to_owned(),
        }
    }
}

//! Maker and model as one name.

/// Maker and model of a body or a lens as one name, the maker once: many bodies repeat it at the
/// start of the model. `None` when there is neither.
pub fn body_name(make: Option<&str>, model: Option<&str>) -> Option<String> {
    let text = |t: Option<&str>| t.map(str::trim).filter(|t| !t.is_empty()).map(str::to_owned);
    match (text(make), text(model)) {
        (Some(make), Some(model)) if !starts_with(&model, &make) => Some(format!("{make} {model}")),
        (make, model) => model.or(make),
    }
}

/// Whether a text starts with another, whatever the case of its letters.
fn starts_with(text: &str, start: &str) -> bool {
    text.get(..start.len()).is_some_and(|head| head.eq_ignore_ascii_case(start))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::store::rig::RigBody;

    #[test]
    fn the_maker_is_named_once() {
        let rows = [
            (Some("Velmarrow"), Some("VM-7"), Some("Velmarrow VM-7")),
            (Some("Velmarrow"), Some("Velmarrow VM-7"), Some("Velmarrow VM-7")),
            (Some("Velmarrow"), Some("VELMARROW VM-7"), Some("VELMARROW VM-7")),
            (Some(" Velmarrow "), Some("VM-7 "), Some("Velmarrow VM-7")),
            (Some("Velmarrow"), None, Some("Velmarrow")),
            (Some("Velmarrow"), Some(" "), Some("Velmarrow")),
            (None, Some("VM-7"), Some("VM-7")),
            (Some(""), Some("VM-7"), Some("VM-7")),
            // A letter of two bytes where the maker's name ends.
            (Some("Vel"), Some("Veé"), Some("Vel Veé")),
            (Some(" "), Some(""), None),
            (None, None, None),
        ];
        for (make, model, want) in rows {
            assert_eq!(body_name(make, model).as_deref(), want, "{make:?} {model:?}");
            let owned = |t: Option<&str>| t.map(str::to_owned);
            let rig = RigBody { make: owned(make), model: owned(model), serial: None };
            assert_eq!(rig.name().as_deref(), want, "a rig's body");
        }
    }
}

//! TOML values to plain Rust values with their place in the file; a value of the wrong kind is put on the sheet.

use std::borrow::Cow;
use std::ops::Range;

use schemars::{JsonSchema, Schema, SchemaGenerator, json_schema};
use serde::Deserialize;
use toml::de::{DeTable, DeValue};

use super::problem::{Sheet, nearest};
use super::raw::RawSides;

/// A value with its dotted key and its byte range.
#[derive(Clone, Debug)]
pub(super) struct Placed<T> {
    pub(super) key: String,
    pub(super) span: Range<usize>,
    pub(super) value: T,
}

impl<T> Placed<T> {
    /// Another value at the same place.
    pub(super) fn with<U>(&self, value: U) -> Placed<U> {
        Placed { key: self.key.clone(), span: self.span.clone(), value }
    }
}

/// A value that the file may leave out.
#[derive(Clone, Debug)]
pub(super) struct Given<T>(pub(super) Option<Placed<T>>);

impl<T> Default for Given<T> {
    fn default() -> Self {
        Given(None)
    }
}

impl<T> Given<T> {
    pub(super) fn get(&self) -> Option<&Placed<T>> {
        self.0.as_ref()
    }
    pub(super) fn value(&self) -> Option<&T> {
        self.0.as_ref().map(|p| &p.value)
    }
}

/// What can be read from a TOML value.
pub(super) trait Read: Sized {
    /// The value, or `None` with the problem put on the sheet.
    fn read(at: &Placed<&DeValue<'_>>, sheet: &mut Sheet) -> Option<Self>;
}

/// The key of a member of a table.
pub(super) fn member(table: &str, key: &str) -> String {
    let plain = !key.is_empty() && key.chars().all(|c| c.is_ascii_alphanumeric() || c == '_' || c == '-');
    let key: Cow<'_, str> = if plain { key.into() } else { format!("{key:?}").into() };
    if table.is_empty() { key.into_owned() } else { format!("{table}.{key}") }
}

/// What a value is, for a message.
fn kind(value: &DeValue<'_>) -> &'static str {
    match value {
        DeValue::String(_) => "text",
        DeValue::Integer(_) | DeValue::Float(_) => "a number",
        DeValue::Boolean(_) => "true or false",
        DeValue::Datetime(_) => "a date",
        DeValue::Array(_) => "a list",
        DeValue::Table(_) => "a table",
    }
}

fn wrong(at: &Placed<&DeValue<'_>>, wanted: &str, mend: &str, sheet: &mut Sheet) {
    sheet.at(at, format!("must be {wanted}, but is {}", kind(at.value)), mend);
}

/// The table at a place.
pub(super) fn table<'a, 'i>(
    at: &Placed<&'a DeValue<'i>>,
    sheet: &mut Sheet,
) -> Option<Placed<&'a DeTable<'i>>> {
    match at.value {
        DeValue::Table(table) => Some(at.with(table)),
        _ => {
            let mend = format!("write it as a table: [{}], or {{ key = value }}", at.key);
            wrong(at, "a table", &mend, sheet);
            None
        }
    }
}

/// Puts every key of a table that is not known on the sheet.
pub(super) fn only_known(
    table: &Placed<&DeTable<'_>>,
    known: &[&str],
    home: impl Fn(&str) -> Option<&'static str>,
    sheet: &mut Sheet,
) {
    for (name, _) in table.value.iter() {
        let word: &str = name.get_ref();
        if known.contains(&word) {
            continue;
        }
        let near = nearest(word, known);
        let mend = match (near, home(word)) {
            (Some(near), _) => format!("did you mean `{near}`? Known here: {}", known.join(", ")),
            (None, Some(home)) => format!("`{word}` belongs under [{home}]"),
            (None, None) => format!("known here: {}", known.join(", ")),
        };
        sheet.put(&member(&table.key, word), Some(name.span()), "unknown key", mend);
    }
}

/// A member of a table, where the file has it.
pub(super) fn given<T: Read>(table: &Placed<&DeTable<'_>>, key: &str, sheet: &mut Sheet) -> Given<T> {
    let place = table.value.get(key).map(|value| Placed {
        key: member(&table.key, key),
        span: value.span(),
        value: value.get_ref(),
    });
    Given(place.and_then(|place| T::read(&place, sheet).map(|value| place.with(value))))
}

impl Read for String {
    fn read(at: &Placed<&DeValue<'_>>, sheet: &mut Sheet) -> Option<String> {
        match at.value {
            DeValue::String(text) => Some(text.clone().into_owned()),
            _ => {
                wrong(at, "text", "put it in double quotes", sheet);
                None
            }
        }
    }
}

impl Read for f64 {
    fn read(at: &Placed<&DeValue<'_>>, sheet: &mut Sheet) -> Option<f64> {
        let number = match at.value {
            DeValue::Integer(digits) => whole(digits).map(|n| n as f64),
            DeValue::Float(digits) => digits.as_str().parse::<f64>().ok(),
            _ => {
                wrong(at, "a number", "write a plain number without quotes and without a unit", sheet);
                return None;
            }
        };
        let finite = number.filter(|n| n.is_finite());
        if finite.is_none() {
            sheet.at(at, "must be a finite number", "write a plain number");
        }
        finite
    }
}

/// The value of a TOML integer, where it is within 64 bits.
fn whole(digits: &toml::de::DeInteger<'_>) -> Option<i64> {
    i64::from_str_radix(digits.as_str(), digits.radix()).ok()
}

impl Read for bool {
    fn read(at: &Placed<&DeValue<'_>>, sheet: &mut Sheet) -> Option<bool> {
        let DeValue::Boolean(yes) = at.value else {
            wrong(at, "true or false", "write true or false without quotes", sheet);
            return None;
        };
        Some(*yes)
    }
}

/// A list of so many numbers; `names` says what they are.
fn row<const N: usize>(
    at: &Placed<&DeValue<'_>>,
    names: &str,
    mend: &str,
    sheet: &mut Sheet,
) -> Option<[f64; N]> {
    let numbers = Vec::<Placed<f64>>::read(at, sheet)?;
    let DeValue::Array(list) = at.value else { return None };
    if list.len() != N {
        sheet.at(at, format!("must be {names}, but holds {}", list.len()), mend);
        return None;
    }
    let values: Vec<f64> = numbers.iter().map(|n| n.value).collect();
    values.try_into().ok()
}

impl Read for [f64; 3] {
    fn read(at: &Placed<&DeValue<'_>>, sheet: &mut Sheet) -> Option<[f64; 3]> {
        row(at, "three numbers x, y, z", "write it as [x, y, z]", sheet)
    }
}

impl Read for [f64; 4] {
    fn read(at: &Placed<&DeValue<'_>>, sheet: &mut Sheet) -> Option<[f64; 4]> {
        row(at, "four numbers", "write a row as [r, r, r, t]", sheet)
    }
}

impl<T: Read> Read for Vec<Placed<T>> {
    /// The elements that can be read; each other one is put on the sheet.
    fn read(at: &Placed<&DeValue<'_>>, sheet: &mut Sheet) -> Option<Vec<Placed<T>>> {
        let DeValue::Array(list) = at.value else {
            wrong(at, "a list", "put it in square brackets", sheet);
            return None;
        };
        let mut read = Vec::new();
        for (i, value) in list.iter().enumerate() {
            let place =
                Placed { key: format!("{}[{i}]", at.key), span: value.span(), value: value.get_ref() };
            if let Some(value) = T::read(&place, sheet) {
                read.push(place.with(value));
            }
        }
        Some(read)
    }
}

/// One point, written as `[x, y, z]` or as a list that holds one point.
#[derive(Clone, Debug)]
pub(super) struct OnePoint(pub(super) [f64; 3]);

impl Read for OnePoint {
    fn read(at: &Placed<&DeValue<'_>>, sheet: &mut Sheet) -> Option<OnePoint> {
        if let DeValue::Array(list) = at.value
            && let [only] = list.get(0..1)?
            && matches!(only.get_ref(), DeValue::Array(_))
        {
            if list.len() != 1 {
                sheet.at(at, format!("must be one point, but holds {}", list.len()), "write it as [x, y, z]");
                return None;
            }
            return <[f64; 3]>::read(&at.with(only.get_ref()), sheet).map(OnePoint);
        }
        <[f64; 3]>::read(at, sheet).map(OnePoint)
    }
}

/// A number for both sides, or one for each: `30`, or `{ right = 25, left = 35 }`.
#[derive(Clone, Copy, Debug)]
pub(super) struct BothSides {
    pub(super) right: f64,
    pub(super) left: f64,
}

impl BothSides {
    /// Right and left, where they are not alike.
    pub(super) fn apart(&self) -> Option<[f64; 2]> {
        (self.right.to_bits() != self.left.to_bits()).then_some([self.right, self.left])
    }
}

impl Read for BothSides {
    fn read(at: &Placed<&DeValue<'_>>, sheet: &mut Sheet) -> Option<BothSides> {
        if !matches!(at.value, DeValue::Table(_)) {
            return f64::read(at, sheet).map(|both| BothSides { right: both, left: both });
        }
        let sides = RawSides::read(at, sheet)?;
        let missing = sides.right.get().is_none() || sides.left.get().is_none();
        if missing && !sheet.names(&at.key) {
            sheet.at(at, "names one side only", "write { right = .., left = .. }, or one number for both");
        }
        Some(BothSides { right: *sides.right.value()?, left: *sides.left.value()? })
    }
}

/// A tooth as written: a plain number or a word.
#[derive(Clone, Debug)]
pub(super) enum RawTooth {
    Number(i64),
    Word(String),
}

impl Read for RawTooth {
    fn read(at: &Placed<&DeValue<'_>>, sheet: &mut Sheet) -> Option<RawTooth> {
        match at.value {
            DeValue::Integer(digits) => Some(match whole(digits) {
                Some(number) => RawTooth::Number(number),
                None => RawTooth::Word(digits.as_str().to_owned()),
            }),
            DeValue::String(word) => Some(RawTooth::Word(word.clone().into_owned())),
            _ => {
                wrong(
                    at,
                    "a tooth",
                    "write a tooth number such as 36, or a Palmer form such as \"LL6\"",
                    sheet,
                );
                None
            }
        }
    }
}

/// A table whose keys are names: tooth numbers, or ids of limits.
#[derive(Clone, Debug)]
pub(super) struct Named<T>(pub(super) Vec<(Placed<String>, Placed<T>)>);

impl<T: Read> Read for Named<T> {
    fn read(at: &Placed<&DeValue<'_>>, sheet: &mut Sheet) -> Option<Named<T>> {
        let table = table(at, sheet)?;
        let mut rows = Vec::new();
        for (name, value) in table.value.iter() {
            let key = member(&at.key, name.get_ref());
            let place = Placed { key: key.clone(), span: value.span(), value: value.get_ref() };
            let read = T::read(&place, sheet).map(|value| place.with(value));
            let name = Placed { key, span: name.span(), value: name.get_ref().clone().into_owned() };
            rows.extend(read.map(|value| (name, value)));
        }
        rows.sort_by_key(|(name, _)| name.span.start);
        Some(Named(rows))
    }
}

/// A word of a fixed list.
#[derive(Clone, Copy, Debug)]
pub(super) struct Word<T>(pub(super) T);

impl<T: for<'de> Deserialize<'de>> Read for Word<T> {
    fn read(at: &Placed<&DeValue<'_>>, sheet: &mut Sheet) -> Option<Word<T>> {
        let text = String::read(at, sheet)?;
        match T::deserialize(serde::de::value::StrDeserializer::<NotOneOf>::new(&text)) {
            Ok(word) => Some(Word(word)),
            Err(NotOneOf(words)) => {
                let near = nearest(&text, words).map_or(String::new(), |n| format!("did you mean \"{n}\"? "));
                sheet.at(
                    at,
                    format!("\"{text}\" is not a word known here"),
                    format!("{near}write one of: {}", words.join(", ")),
                );
                None
            }
        }
    }
}

/// The words that would have been right.
#[derive(Debug, thiserror::Error)]
#[error("not one of {0:?}")]
struct NotOneOf(&'static [&'static str]);

impl serde::de::Error for NotOneOf {
    fn custom<M: std::fmt::Display>(_: M) -> Self {
        NotOneOf(&[])
    }
    fn unknown_variant(_: &str, expected: &'static [&'static str]) -> Self {
        NotOneOf(expected)
    }
}

/// The schema of a wrapper is that of what it wraps.
macro_rules! schema_of_inner {
    ($($wrapper:ident),*) => {$(
        impl<T: JsonSchema> JsonSchema for $wrapper<T> {
            fn inline_schema() -> bool { T::inline_schema() }
            fn schema_name() -> Cow<'static, str> { T::schema_name() }
            fn schema_id() -> Cow<'static, str> { T::schema_id() }
            fn json_schema(generator: &mut SchemaGenerator) -> Schema { T::json_schema(generator) }
        }
    )*};
}
schema_of_inner!(Placed, Given, Word);

impl JsonSchema for OnePoint {
    fn inline_schema() -> bool {
        true
    }
    fn schema_name() -> Cow<'static, str> {
        "OnePoint".into()
    }
    fn json_schema(generator: &mut SchemaGenerator) -> Schema {
        let point = generator.subschema_for::<[f64; 3]>();
        json_schema!({ "anyOf": [point, { "type": "array", "items": point, "minItems": 1, "maxItems": 1 }] })
    }
}

impl JsonSchema for BothSides {
    fn inline_schema() -> bool {
        true
    }
    fn schema_name() -> Cow<'static, str> {
        "BothSides".into()
    }
    fn json_schema(generator: &mut SchemaGenerator) -> Schema {
        let (number, sides) = (generator.subschema_for::<f64>(), generator.subschema_for::<RawSides>());
        json_schema!({ "anyOf": [number, sides] })
    }
}

impl JsonSchema for RawTooth {
    fn schema_name() -> Cow<'static, str> {
        "Tooth".into()
    }
    fn json_schema(_: &mut SchemaGenerator) -> Schema {
        json_schema!({
            "description": "A permanent tooth as `chart.notation` writes it: FDI 11 to 48, Universal 1 to 32, Palmer \"UR4\".",
            "anyOf": [
                { "type": "integer", "minimum": 1, "maximum": 48 },
                { "type": "string", "pattern": "^\\s*([0-9]{1,2}|[UuLl][RrLl]\\s*[1-8]|[1-8]\\s*[⏌┘⏋┐]|[⎿└⎾┌]\\s*[1-8])\\s*$" },
            ]
        })
    }
}

impl<T: JsonSchema> JsonSchema for Named<T> {
    fn inline_schema() -> bool {
        true
    }
    fn schema_name() -> Cow<'static, str> {
        format!("Named_{}", T::schema_name()).into()
    }
    fn json_schema(generator: &mut SchemaGenerator) -> Schema {
        let value = generator.subschema_for::<T>();
        json_schema!({ "type": "object", "additionalProperties": value })
    }
}

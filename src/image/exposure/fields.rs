//! One tag of an Exif structure at a time, with what counts as unknown.

use exif::{Context, Exif, In, Tag, Value};

/// Longest text taken from a tag, characters.
const MAX_TEXT: usize = 200;
/// Exif 3.0 type code for UTF-8 text.
const TYPE_UTF8: u16 = 129;

/// The tags of one file.
pub(super) struct Fields<'a>(pub(super) &'a Exif);

impl Fields<'_> {
    /// The value of a tag of the main picture. Some writers put exposure tags beside those of
    /// the picture (IFD0) instead of into the Exif directory: they are found by number.
    fn value(&self, tag: Tag) -> Option<&Value> {
        self.0
            .get_field(tag, In::PRIMARY)
            .or_else(|| self.0.get_field(Tag(Context::Tiff, tag.number()), In::PRIMARY))
            .map(|field| &field.value)
    }

    /// The value at an index as a finite number, whatever numeric type it was written in.
    pub(super) fn number_at(&self, tag: Tag, i: usize) -> Option<f64> {
        let value = match self.value(tag)? {
            Value::Rational(v) => v.get(i)?.to_f64(),
            Value::SRational(v) => v.get(i)?.to_f64(),
            Value::Byte(v) => (*v.get(i)?).into(),
            Value::Short(v) => (*v.get(i)?).into(),
            Value::Long(v) => (*v.get(i)?).into(),
            Value::SByte(v) => (*v.get(i)?).into(),
            Value::SShort(v) => (*v.get(i)?).into(),
            Value::SLong(v) => (*v.get(i)?).into(),
            Value::Float(v) => (*v.get(i)?).into(),
            Value::Double(v) => *v.get(i)?,
            Value::Ascii(_) | Value::Undefined(..) | Value::Unknown(..) => return None,
        };
        Some(value).filter(|v| v.is_finite())
    }

    /// The first value as a finite number.
    pub(super) fn number(&self, tag: Tag) -> Option<f64> {
        self.number_at(tag, 0)
    }

    /// The first value as a number above 0: the rule for tags whose 0 means unknown.
    pub(super) fn positive(&self, tag: Tag) -> Option<f64> {
        self.number(tag).filter(|v| *v > 0.0)
    }

    /// The first value as a code.
    pub(super) fn code(&self, tag: Tag) -> Option<u32> {
        self.value(tag)?.get_uint(0)
    }

    /// The text of a tag without padding; `None` when it is empty or only dashes, as adapters
    /// without contacts leave it.
    pub(super) fn text(&self, tag: Tag) -> Option<String> {
        let bytes: Vec<u8> = match self.value(tag)? {
            Value::Ascii(parts) => parts.first()?.clone(),
            Value::Byte(bytes) | Value::Undefined(bytes, _) => bytes.clone(),
            Value::Unknown(TYPE_UTF8, count, at) => self.utf8(*count, *at)?.to_vec(),
            _ => return None,
        };
        let text: String = String::from_utf8_lossy(&bytes)
            .split('\0')
            .next()?
            .chars()
            .map(|c| if c.is_control() { ' ' } else { c })
            .take(MAX_TEXT)
            .collect();
        let text = text.trim();
        let says_something = text.chars().any(|c| c != '-' && !c.is_whitespace());
        says_something.then(|| text.to_owned())
    }

    /// Bytes of a UTF-8 value (Exif 3.0), whose type the reader does not know: it hands on the
    /// place of the entry's value, where the bytes stand if they are four or fewer, and else
    /// their offset.
    fn utf8(&self, count: u32, at: u32) -> Option<&[u8]> {
        let (file, at, count) = (self.0.buf(), at as usize, count as usize);
        let start = if count <= 4 {
            at
        } else {
            let raw: [u8; 4] = file.get(at..at.checked_add(4)?)?.try_into().ok()?;
            let little = self.0.little_endian();
            (if little { u32::from_le_bytes(raw) } else { u32::from_be_bytes(raw) }) as usize
        };
        file.get(start..start.checked_add(count)?)
    }
}

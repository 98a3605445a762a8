//! Units by UCUM code, as exact fractions of the base unit of their dimension.
//!
//! Definitions: SI Brochure, 9th edition, and NIST SP 811 (2008), appendix B: inch, mile, pound and standard
//! gravity are exact, so pound-force per square inch and foot pound-force are exact fractions too.
//! A closed table keyed by the codes that the trade uses; UCUM's own table is not shipped.

use num_rational::Ratio;
use num_traits::{CheckedAdd, CheckedDiv, CheckedMul, CheckedSub};

/// What a unit measures.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Dimension {
    /// Base unit `Cel`.
    Temperature,
    /// Base unit `kPa`.
    Pressure,
    /// Base unit `m`.
    Length,
    /// Base unit `N.m`.
    Torque,
    /// Base unit `N`.
    Force,
    /// Base unit `km/h`.
    Speed,
    /// Base unit `V`.
    Voltage,
    /// Base unit `A`.
    Current,
    /// Base unit `A.h`.
    Charge,
    /// Base unit `Ohm`.
    Resistance,
    /// Base unit `Ohm/V`: insulation against the working voltage.
    ResistancePerVoltage,
    /// Base unit `%`.
    Share,
    /// Base unit `s`.
    Time,
    /// Base unit `deg`.
    Angle,
    /// Base unit `kg`.
    Mass,
    /// Base unit `L`.
    Volume,
    /// Base unit `lx`.
    Illuminance,
    /// Base unit `g/s`.
    MassFlow,
    /// Base unit `L/h`.
    VolumeFlow,
    /// Base unit `/min`: turns per minute.
    Rotation,
}

/// A unit of the table.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Unit {
    /// UCUM code, case-sensitive.
    pub code: &'static str,
    /// What it measures.
    pub dimension: Dimension,
    /// `base = (value + before) * factor`: numerator and denominator of the factor.
    pub factor: (i128, i128),
    /// Added before the factor (only temperatures have one).
    pub before: (i128, i128),
}

impl Unit {
    /// The unit of this UCUM code.
    pub fn of_code(code: &str) -> Option<&'static Self> {
        TABLE.iter().find(|unit| unit.code == code)
    }

    /// A value of this unit in the dimension's base unit, exactly.
    ///
    /// No value that a `Decimal` can hold overflows.
    pub fn to_base(&self, value: Ratio<i128>) -> Ratio<i128> {
        let value = if self.before.0 == 0 { value } else { value + self.offset() };
        if self.factor.0 == self.factor.1 { value } else { value * self.slope() }
    }

    /// A value of this unit in another unit, exactly; `None` when the two measure different things, or when the
    /// fraction has more digits than can be kept.
    pub fn to(&self, other: &Self, value: Ratio<i128>) -> Option<Ratio<i128>> {
        if self.dimension != other.dimension {
            return None;
        }
        if self == other {
            return Some(value);
        }
        // The two factors first: they often cancel, which keeps the digits few.
        let slope = self.slope().checked_div(&other.slope())?;
        value.checked_add(&self.offset())?.checked_mul(&slope)?.checked_sub(&other.offset())
    }

    fn slope(&self) -> Ratio<i128> {
        Ratio::new(self.factor.0, self.factor.1)
    }

    fn offset(&self) -> Ratio<i128> {
        Ratio::new(self.before.0, self.before.1)
    }
}

impl Dimension {
    /// The unit that values of this dimension are kept in.
    pub fn base(self) -> &'static Unit {
        let base =
            |unit: &&Unit| unit.dimension == self && unit.factor == (1, 1) && unit.before == (0, 1);
        TABLE.iter().find(base).unwrap_or(&TABLE[0])
    }

    /// Every unit that measures it, the base unit first.
    pub fn units(self) -> impl Iterator<Item = &'static Unit> {
        TABLE.iter().filter(move |unit| unit.dimension == self)
    }
}

const fn unit(code: &'static str, dimension: Dimension, over: i128, under: i128) -> Unit {
    Unit { code, dimension, factor: (over, under), before: (0, 1) }
}

/// Every unit; the first of a dimension is its base unit.
pub const TABLE: &[Unit] = &[
    unit("Cel", Dimension::Temperature, 1, 1),
    Unit { before: (-32, 1), ..unit("[degF]", Dimension::Temperature, 5, 9) },
    Unit { before: (-27_315, 100), ..unit("K", Dimension::Temperature, 1, 1) },
    unit("kPa", Dimension::Pressure, 1, 1),
    unit("Pa", Dimension::Pressure, 1, 1_000),
    unit("bar", Dimension::Pressure, 100, 1),
    unit("mbar", Dimension::Pressure, 1, 10),
    unit("[psi]", Dimension::Pressure, 8_896_443_230_521, 1_290_320_000_000),
    unit("m", Dimension::Length, 1, 1),
    unit("mm", Dimension::Length, 1, 1_000),
    unit("cm", Dimension::Length, 1, 100),
    unit("km", Dimension::Length, 1_000, 1),
    unit("[in_i]", Dimension::Length, 127, 5_000),
    unit("[ft_i]", Dimension::Length, 381, 1_250),
    unit("[mi_i]", Dimension::Length, 201_168, 125),
    unit("N.m", Dimension::Torque, 1, 1),
    unit("[ft_i].[lbf_av]", Dimension::Torque, 3_389_544_870_828_501, 2_500_000_000_000_000),
    unit("[in_i].[lbf_av]", Dimension::Torque, 1_129_848_290_276_167, 10_000_000_000_000_000),
    unit("N", Dimension::Force, 1, 1),
    unit("[lbf_av]", Dimension::Force, 8_896_443_230_521, 2_000_000_000_000),
    unit("km/h", Dimension::Speed, 1, 1),
    unit("[mi_i]/h", Dimension::Speed, 25_146, 15_625),
    unit("m/s", Dimension::Speed, 18, 5),
    unit("V", Dimension::Voltage, 1, 1),
    unit("mV", Dimension::Voltage, 1, 1_000),
    unit("A", Dimension::Current, 1, 1),
    unit("mA", Dimension::Current, 1, 1_000),
    unit("A.h", Dimension::Charge, 1, 1),
    unit("Ohm", Dimension::Resistance, 1, 1),
    unit("kOhm", Dimension::Resistance, 1_000, 1),
    unit("MOhm", Dimension::Resistance, 1_000_000, 1),
    unit("Ohm/V", Dimension::ResistancePerVoltage, 1, 1),
    unit("%", Dimension::Share, 1, 1),
    unit("1", Dimension::Share, 100, 1),
    unit("s", Dimension::Time, 1, 1),
    unit("ms", Dimension::Time, 1, 1_000),
    unit("min", Dimension::Time, 60, 1),
    unit("h", Dimension::Time, 3_600, 1),
    unit("d", Dimension::Time, 86_400, 1),
    unit("deg", Dimension::Angle, 1, 1),
    unit("'", Dimension::Angle, 1, 60),
    unit("kg", Dimension::Mass, 1, 1),
    unit("[lb_av]", Dimension::Mass, 45_359_237, 100_000_000),
    unit("L", Dimension::Volume, 1, 1),
    unit("[gal_us]", Dimension::Volume, 473_176_473, 125_000_000),
    unit("lx", Dimension::Illuminance, 1, 1),
    unit("g/s", Dimension::MassFlow, 1, 1),
    unit("L/h", Dimension::VolumeFlow, 1, 1),
    unit("/min", Dimension::Rotation, 1, 1),
    unit("{rev}/min", Dimension::Rotation, 1, 1),
];

#[cfg(test)]
mod tests {
    use super::*;
    use crate::quantity::Decimal;

    fn convert(value: &str, from: &str, to: &str) -> Ratio<i128> {
        let value: Decimal = value.parse().expect("decimal");
        let from = Unit::of_code(from).expect("known");
        from.to(Unit::of_code(to).expect("known"), value.ratio()).expect("converts")
    }

    /// NIST SP 811 (2008), appendix B.8 and B.9 (factors in bold are exact) and SI Brochure, table 8.
    #[test]
    fn published_factors_are_exact() {
        let one = [
            ("[in_i]", "mm", "25.4"),
            ("[ft_i]", "m", "0.3048"),
            ("[mi_i]", "km", "1.609344"),
            ("[mi_i]/h", "km/h", "1.609344"),
            ("[lb_av]", "kg", "0.45359237"),
            ("[lbf_av]", "N", "4.4482216152605"),
            ("[ft_i].[lbf_av]", "N.m", "1.3558179483314004"),
            ("[in_i].[lbf_av]", "N.m", "0.1129848290276167"),
            ("[gal_us]", "L", "3.785411784"),
            ("bar", "kPa", "100"),
            ("h", "s", "3600"),
            ("d", "h", "24"),
            ("m/s", "km/h", "3.6"),
            ("1", "%", "100"),
        ];
        for (from, to, factor) in one {
            let factor: Decimal = factor.parse().expect("decimal");
            assert_eq!(convert("1", from, to), factor.ratio(), "{from}");
        }
        // Pound-force per square inch: 4.448 221 615 260 5 N over 645.16 mm2, printed as 6.894 757 E+03 Pa.
        let psi = convert("1", "[psi]", "Pa");
        assert_eq!(psi, Ratio::new(44_482_216_152_605, 10_000_000_000_000) * 100_000_000 / 64_516);
    }

    /// NIST SP 811 (2008), appendix B.9: t/Cel = (t/degF - 32)/1.8 and T/K = t/Cel + 273.15.
    #[test]
    fn temperatures_convert_with_their_zero_points() {
        assert_eq!(convert("200", "[degF]", "Cel"), Ratio::new(280, 3));
        assert_eq!(convert("210", "[degF]", "Cel"), Ratio::new(890, 9));
        assert_eq!(convert("32", "[degF]", "Cel"), Ratio::from_integer(0));
        assert_eq!(convert("-40", "Cel", "[degF]"), Ratio::from_integer(-40));
        assert_eq!(convert("0", "Cel", "K"), Ratio::new(5_463, 20));
        assert_eq!(convert("15.6", "Cel", "[degF]"), Ratio::new(1_502, 25));
    }

    #[test]
    fn there_and_back_is_the_same_number() {
        for from in TABLE {
            for to in from.dimension.units() {
                let there = from.to(to, Ratio::new(1234, 100)).expect("converts");
                assert_eq!(to.to(from, there), Some(Ratio::new(1234, 100)), "{from:?} {to:?}");
            }
            assert_eq!(from.dimension.base().dimension, from.dimension);
            assert_eq!(from.dimension.units().next(), Some(from.dimension.base()));
        }
    }

    #[test]
    fn no_decimal_overflows_on_its_way_to_the_base_unit() {
        let most = "999999999999999999".parse::<Decimal>().expect("decimal");
        let fine = "0.999999999999999999".parse::<Decimal>().expect("decimal");
        for unit in TABLE {
            for value in [most, fine] {
                assert!(unit.to_base(value.ratio()) > unit.to_base(-value.ratio()), "{unit:?}");
            }
        }
    }

    #[test]
    fn what_measures_something_else_does_not_convert() {
        let unit = |code| Unit::of_code(code).expect("known");
        assert_eq!(unit("V").to(unit("A"), Ratio::from_integer(1)), None);
        for invalid in ["rpm", "psi", "degF", "cel", "°C", "", "V "] {
            assert_eq!(Unit::of_code(invalid), None, "{invalid} is not a UCUM code of the table");
        }
    }

    #[test]
    fn every_code_stands_once() {
        for (at, unit) in TABLE.iter().enumerate() {
            assert!(TABLE[..at].iter().all(|other| other.code != unit.code), "{}", unit.code);
        }
    }
}

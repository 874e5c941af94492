//! `0.12 EUR`: money in whole minor units of an ISO 4217 currency.
//!
//! Source: ISO 4217:2015, "Codes for the representation of currencies", list one as published on
//! 2026-01-01, which gives every code in use with its number of decimals. Funds, metals and test codes are left out.

use std::fmt;

use crate::scan::{Piece, number};
use crate::{Fault, FaultKind, SpreadFault};

/// An amount of money.
#[derive(Clone, Copy, PartialEq, Eq, Debug, PartialOrd, Ord, Hash)]
pub struct Money {
    /// Whole minor units (cents for EUR, yen for JPY, fils for KWD).
    pub minor: i64,
    /// ISO 4217 code in capital letters.
    pub currency: [u8; 3],
}

/// Codes by number of decimals.
pub(crate) const CURRENCIES: &[(u32, &str)] = &[
    (
        0,
        "BIF CLP DJF GNF ISK JPY KMF KRW PYG RWF UGX VND VUV XAF XOF XPF",
    ),
    (3, "BHD IQD JOD KWD LYD OMR TND"),
    (4, "UYW"),
    (
        2,
        "AED AFN ALL AMD AOA ARS AUD AWG AZN BAM BBD BDT BMD BND BOB BRL BSD BTN BWP BYN BZD CAD CDF CHF CNY COP \
         CRC CUP CVE CZK DKK DOP DZD EGP ERN ETB EUR FJD FKP GBP GEL GHS GIP GMD GTQ GYD HKD HNL HTG HUF IDR ILS \
         INR IRR JMD KES KGS KHR KPW KYD KZT LAK LBP LKR LRD LSL MAD MDL MGA MKD MMK MNT MOP MRU MUR MVR MWK MXN \
         MYR MZN NAD NGN NIO NOK NPR NZD PAB PEN PGK PHP PKR PLN QAR RON RSD RUB SAR SBD SCR SDG SEK SGD SHP SLE \
         SOS SRD SSP STN SVC SYP SZL THB TJS TMT TOP TRY TTD TWD TZS UAH USD UYU UZS VED VES WST XCD XCG YER ZAR ZMW ZWG",
    ),
];

/// Code and decimals of a currency in use.
fn currency(code: &str) -> Option<(&'static str, u32)> {
    CURRENCIES.iter().find_map(|&(decimals, codes)| {
        codes
            .split_whitespace()
            .find(|&known| known == code)
            .map(|known| (known, decimals))
    })
}

/// Decimals of a currency in use, by its ISO 4217 code.
#[must_use]
pub fn currency_decimals(code: &str) -> Option<u32> {
    currency(code).map(|(_, decimals)| decimals)
}

/// Reads an amount of money: `NUMBER CODE`, without exponent and with no more decimals than the currency has.
///
/// # Errors
/// A [`Fault`] with the byte range of the part that is wrong. The sign is kept; whether a price may be negative
/// is for the caller to say.
pub fn parse_money(text: &str) -> Result<Money, Fault> {
    let (value, spread) = Piece::whole(text).split_spread();
    if let Some(spread) = spread {
        return Err(spread.fault(FaultKind::BadUncertainty {
            cause: SpreadFault::NotTaken,
        }));
    }
    let (number, rest) = number(value)?;
    let (word, rest) = rest.first_word();
    if word.is_empty() {
        return Err(number.piece.fault(FaultKind::MissingCurrency));
    }
    let Some((code, decimals)) = currency(word.text) else {
        return Err(word.fault(FaultKind::UnknownCurrency {
            found: word.text.to_owned(),
        }));
    };
    rest.expect_end()?;
    if number.has_exponent() {
        return Err(number.piece.fault(FaultKind::MoneyExponent));
    }
    let (whole, part) = number
        .digits()
        .split_once('.')
        .unwrap_or((number.digits(), ""));
    let width = usize::try_from(decimals).expect("a handful of decimals");
    if part.len() > width {
        return Err(number.piece.fault(FaultKind::MoneyDecimals {
            currency: code,
            allowed: decimals,
            found: part.len(),
        }));
    }
    let sign = if number.is_negative() { "-" } else { "" };
    let minor = format!("{sign}{whole}{part:0<width$}")
        .parse()
        .map_err(|_| number.piece.fault(FaultKind::MoneyTooLarge))?;
    let currency = code
        .as_bytes()
        .try_into()
        .expect("currency codes have three letters");
    Ok(Money { minor, currency })
}

impl Money {
    /// So many times the amount; `None` when that is more than can be counted.
    #[must_use]
    pub fn times(self, count: u64) -> Option<Money> {
        let minor = i128::from(self.minor) * i128::from(count);
        Some(Money {
            minor: i64::try_from(minor).ok()?,
            ..self
        })
    }

    /// The amount in major units (euros, not cents), for showing beside other numbers; `None` for a code whose decimals are not known.
    #[must_use]
    pub fn major(&self) -> Option<f64> {
        let (_, decimals) = currency(&String::from_utf8_lossy(&self.currency))?;
        Some(self.minor as f64 / 10_u64.pow(decimals) as f64)
    }
}

impl fmt::Display for Money {
    /// As it would be written in a plan: `0.12 EUR`, `300 JPY`. An unknown code shows the minor units as they are.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let code = String::from_utf8_lossy(&self.currency);
        let Some((_, decimals)) = currency(&code) else {
            return write!(f, "{} minor units of {code}", self.minor);
        };
        let scale = 10_u64.pow(decimals);
        let size = self.minor.unsigned_abs();
        let sign = if self.minor < 0 { "-" } else { "" };
        let width = usize::try_from(decimals).expect("a handful of decimals");
        if width == 0 {
            write!(f, "{sign}{size} {code}")
        } else {
            write!(f, "{sign}{}.{:0width$} {code}", size / scale, size % scale)
        }
    }
}

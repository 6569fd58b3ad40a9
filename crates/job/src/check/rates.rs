//! What things cost and how long they take.

use super::{Checker, Spot, called};
use crate::form_v1::{FixingForm, LimitForm, MinutesForm, Quantity, RatesForm};
use crate::limits::{self, Range};
use crate::quantities::{PLAIN, RATIO};
use floorwright_engine::bill::{
    Currency, Extra, Fixing, Money, Rates, Share, Times, WorkTime, usual_fixings,
};
use floorwright_engine::settings::Limit;

impl Checker<'_> {
    pub(super) fn rates(&mut self) -> Rates {
        let Some(form) = &self.form.rates else { return Rates::default() };
        let spot = self.spot("rates", "[rates]");
        let silent = Rates::default();
        let money = |key: &'static str, given: &Option<LimitForm>, checker: &mut Self| {
            checker.given(given.as_ref(), |checker, typed| checker.money(&spot, key, typed))
        };
        Rates {
            currency: self.currency(&spot, form),
            hourly: money("hourly", &form.hourly, self),
            people: self.given(form.people.as_ref(), |checker, typed| {
                Some(checker.count(&spot, "people", typed, &limits::PEOPLE)? as u32)
            }),
            day: self.given(form.hours_per_day.as_ref(), |checker, typed| {
                let hours = checker.plain(&spot, "hours_per_day", typed, &limits::HOURS_PER_DAY)?;
                WorkTime::from_minutes(hours * 60.0)
            }),
            rest_days: self.limit(form.rest_days.as_ref(), silent.rest_days, |checker, typed| {
                Some(checker.count(&spot, "rest_days", typed, &limits::REST_DAYS)? as u32)
            }),
            jack_day: money("jack_day", &form.jack_day, self),
            taller_support: money("taller_support", &form.taller_support, self),
            times: form.minutes.as_ref().map_or_else(Times::default, |form| self.times(form)),
            fixings: self.fixings(form),
            extras: self.extras(form),
            margin: self
                .given(form.margin.as_ref(), |checker, typed| checker.part(&spot, "margin", typed)),
            tax: self.given(form.tax.as_ref(), |checker, typed| checker.part(&spot, "tax", typed)),
        }
    }

    /// A figure that has no value of its own where the job is silent, or cannot be read.
    fn given<T>(
        &mut self,
        given: Option<&LimitForm>,
        read: impl FnOnce(&mut Self, &Quantity) -> Option<T>,
    ) -> Option<Limit<T>> {
        let limit = self.limit(given, Limit::assumed(None, ""), |checker, typed| {
            read(checker, typed).map(Some)
        });
        Some(Limit::given(limit.value?, &limit.reason))
    }

    fn plain(&mut self, spot: &Spot, key: &str, typed: &Quantity, range: &Range) -> Option<f64> {
        self.measured(spot, key, Some(typed), &PLAIN, range)
    }

    fn money(&mut self, spot: &Spot, key: &str, typed: &Quantity) -> Option<Money> {
        let amount = self.plain(spot, key, typed, &limits::RATE)?;
        self.in_cents(spot, key, amount)
    }

    /// A price in whole cents; more decimals are a fault.
    fn in_cents(&mut self, spot: &Spot, key: &str, amount: f64) -> Option<Money> {
        let cents = (amount * 100.0).round();
        if (amount * 100.0 - cents).abs() > 1e-4 {
            let fault = self
                .error(spot, key, format!("{key} has more than whole cents"))
                .value(limits::RATE.show(amount))
                .hint("write it with two decimals");
            self.faults.push(fault);
            return None;
        }
        Some(Money::cents(cents as i64))
    }

    fn price(&mut self, spot: &Spot, price: Option<f64>) -> Option<Money> {
        let price = self.number(spot, "price", price?, &limits::PRICE)?;
        self.in_cents(spot, "price", price)
    }

    fn part(&mut self, spot: &Spot, key: &str, typed: &Quantity) -> Option<Share> {
        let ratio = self.measured(spot, key, Some(typed), &RATIO, &limits::PART)?;
        let share = Share::from_ratio(ratio);
        if share.is_none() {
            let fault = self
                .error(spot, key, format!("{key} has more than six decimals"))
                .value(typed.to_string())
                .hint("write it with fewer decimals, so that the bill can be checked by hand");
            self.faults.push(fault);
        }
        share
    }

    fn currency(&mut self, spot: &Spot, form: &RatesForm) -> Option<Currency> {
        let letters = form.currency.as_deref()?;
        let currency = Currency::new(letters);
        if currency.is_none() {
            let fault = self
                .error(spot, "currency", "the currency is not three capital letters")
                .value(format!("\"{letters}\""))
                .hint(
                    "write the letters of ISO 4217, such as \"AUD\", \"NZD\", \"USD\" or \"GBP\"",
                );
            self.faults.push(fault);
        }
        currency
    }

    fn times(&mut self, form: &MinutesForm) -> Times {
        let spot = self.spot("rates.minutes", "[rates] minutes");
        let mut time = |key: &'static str, given: &Option<LimitForm>| {
            self.given(given.as_ref(), |checker, typed| {
                WorkTime::from_minutes(checker.plain(&spot, key, typed, &limits::MINUTES)?)
            })
        };
        Times {
            set_up: time("set_up", &form.set_up),
            setup: time("setup", &form.setup),
            reading: time("reading", &form.reading),
            pass: time("pass", &form.pass),
            one_move: time("move", &form.one_move),
            packing: time("packing", &form.packing),
            fixing: time("fixing", &form.fixing),
        }
    }

    fn fixings(&mut self, form: &RatesForm) -> Vec<Fixing> {
        if form.fixing.is_empty() {
            return usual_fixings();
        }
        let mut fixings: Vec<Fixing> = Vec::new();
        for (idx, fixing) in form.fixing.iter().enumerate() {
            let spot =
                self.spot(format!("rates.fixing.{idx}"), called("fixing", &fixing.name, idx));
            self.check_name(&spot, "name", &fixing.name);
            if fixings.iter().any(|known| known.name == fixing.name) {
                self.given_twice(&spot, "name", "fixing", &fixing.name, None);
                continue;
            }
            fixings.extend(self.fixing(&spot, fixing));
        }
        fixings
    }

    fn fixing(&mut self, spot: &Spot, form: &FixingForm) -> Option<Fixing> {
        if form.per_support.is_none() {
            self.missing(
                spot,
                "",
                "its number at each support is not given",
                "write per_support = 2",
            );
        }
        let per_support = self.given(form.per_support.as_ref(), |checker, typed| {
            Some(checker.count(spot, "per_support", typed, &limits::PER_SUPPORT)? as u32)
        });
        if let Some(pack) = form.pack {
            self.number(spot, "pack", f64::from(pack), &limits::PACK)?;
        }
        let pack_price = self.price(spot, form.price);
        Some(Fixing {
            name: form.name.clone(),
            per_support: per_support?,
            pack: form.pack.unwrap_or(1),
            pack_price,
        })
    }

    /// What an extra is: longer than a name, and still one line of the order.
    fn check_wording(&mut self, spot: &Spot, what: &str) {
        const MOST: usize = 100;
        let length = what.chars().count();
        let wrong = if what.trim().is_empty() {
            "what it is is missing".to_owned()
        } else if length > MOST {
            format!("what is {length} letters long, the limit is {MOST}")
        } else if what.chars().any(char::is_control) {
            "what has a letter that cannot be printed".to_owned()
        } else {
            return;
        };
        self.missing(spot, "what", wrong, "write what is bought or done, such as \"skip bin\"");
    }

    fn extras(&mut self, form: &RatesForm) -> Vec<Extra> {
        let mut extras = Vec::new();
        for (idx, extra) in form.extra.iter().enumerate() {
            let spot = self.spot(format!("rates.extra.{idx}"), called("extra", &extra.what, idx));
            self.check_wording(&spot, &extra.what);
            let why = extra.why.as_deref().unwrap_or_default().trim();
            if why.is_empty() {
                let hint = "write why = \"…\": every line of the order says where it comes from";
                self.missing(&spot, "", "it does not say why it is needed", hint);
            }
            let quantity = extra.quantity.unwrap_or(1);
            let quantity = self.number(&spot, "quantity", f64::from(quantity), &limits::QUANTITY);
            let price = self.price(&spot, extra.price);
            extras.extend(quantity.map(|quantity| Extra {
                what: extra.what.clone(),
                quantity: quantity as u32,
                price,
                why: why.to_owned(),
            }));
        }
        extras
    }
}

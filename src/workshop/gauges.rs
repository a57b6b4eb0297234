//! Figures of a reading beside those that the point carries by name: what lessons ask for.

use super::Reading;
use crate::quantity::{Amount, Dim};

impl Reading {
    /// A figure that is not among the point's own.
    pub(super) fn more(&self, name: &str) -> Option<Amount> {
        let p = self.point();
        let si = |x: f64, d: Dim| Some(Amount::new(x, d));
        let injectors = p.injectors.first();
        match name {
            "flow with injectors held open" => {
                si(p.injectors.iter().map(|i| i.count * i.static_flow).sum(), Dim::VolumeRate)
            }
            "dead time" => si(injectors?.dead_time, Dim::Time),
            "open time" => si(injectors?.open_time, Dim::Time),
            "time of two turns" => si(injectors?.cycle, Dim::Time),
            "supply capacity" => si(self.limits().capacity, Dim::VolumeRate),
            "headroom" => si(self.limits().headroom, Dim::Ratio),
            "vapour pressure" => Some(Amount::new(p.vapour_pressure, Dim::Pressure).absolute()),
            "fuel density" => si(p.density, Dim::Density),
            "asked fuel mass" => si(p.demand?.fuel, Dim::MassRate),
            "stoichiometric ratio" => si(p.demand?.stoichiometric, Dim::Ratio),
            "regulator floor" => {
                let r = p.regulators.first()?;
                let speed = r.flow / r.full_area;
                Some(Amount::new(r.back - p.ambient + 0.5 * p.density * speed * speed, Dim::Pressure).gauge())
            }
            _ => p.pumps.iter().find_map(|x| match name.strip_prefix(x.name.as_str())?.trim_start() {
                "feed drop" => si(x.feed_drop, Dim::Voltage),
                "return drop" => si(x.return_drop, Dim::Voltage),
                "contact heat" => si(x.contact_heat, Dim::Power),
                "inlet pressure" => {
                    Some(Amount::new(x.inlet_margin + p.vapour_pressure, Dim::Pressure).absolute())
                }
                _ => None,
            }),
        }
    }
}

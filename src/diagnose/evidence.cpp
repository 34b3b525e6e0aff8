#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "diagnose/left_over.hpp"

namespace polewright::diagnose {
namespace {

std::string drift_evidence(const std::string& cause, const SteadyDrift& d) {
  if (cause == "axis misalignment")
    return fmt::format("the field drifts {:.2f} px a minute as it does with the axis {:.0f}′ ± {:.1f}′ from the pole",
                       d.axis_px_per_min, d.axis_offset ? d.axis_offset->arcmin() : 0.0,
                       std::max(0.1, d.axis_offset_sigma ? d.axis_offset_sigma->arcmin() : 0.0));
  if (!d.rate_ratio)
    return fmt::format("the field turns at {:.3f} ± {:.3f} of the sky's own rate, {:.1f} px a minute",
                       d.turn_ratio.value_or(0.0), std::max(0.001, d.turn_ratio_sigma.value_or(0.0)),
                       d.worst_px_per_min);
  return fmt::format("the mount turns at {:.4f} ± {:.4f} of the sidereal rate, which moves stars {:.2f} px a minute",
                     std::abs(*d.rate_ratio) < 0.00005 ? 0.0 : *d.rate_ratio,  // no minus before nothing
                     std::max(0.0001, d.rate_sigma.value_or(0.0)), d.rate_px_per_min);
}

std::string periodic_evidence(const NightDiagnosis& n) {
  const PeriodicTerm& p = n.periodic.front();
  std::string text = fmt::format("the field swings by ± {:.1f} px", p.amplitude_px);
  if (p.amplitude_arcsec) text += fmt::format(" (± {:.1f}″)", *p.amplitude_arcsec);
  text += fmt::format(
      " every {:.0f} s, {}, seen over {:.1f} turns of the worm", p.period_s,
      p.significance >= 10.0 ? "beyond doubt" : fmt::format("{:.0f} times its uncertainty", p.significance), p.cycles);
  if (n.periodic.size() > 1)
    text += fmt::format("; another ± {:.1f} px every {:.0f} s", n.periodic[1].amplitude_px, n.periodic[1].period_s);
  return text;
}

std::string slip_evidence(const Ledger& l, std::size_t frames) {
  double far = 0.0;
  std::size_t n = 0;
  for (const Ledger::Event& e : l.events)
    if (e.stays && !e.deliberate) {
      far = std::max(far, std::hypot(e.moved.x(), e.moved.y()));
      ++n;
    }
  return fmt::format(
      "the field stays shifted after {} leap{}, the largest {:.1f} px; {}", n, n == 1 ? "" : "s", far,
      frames == 0 ? "no frame was smeared by it" : fmt::format("{} frame{} smeared", frames, frames == 1 ? "" : "s"));
}

std::string size_evidence(const std::string& cause, const StarSizes& s) {
  const double most = s.growth_px.empty() ? 0.0 : *std::max_element(s.growth_px.begin(), s.growth_px.end());
  if (cause == "dew") {
    const double dim = s.dim_mag.empty() ? 0.0 : *std::max_element(s.dim_mag.begin(), s.dim_mag.end());
    return fmt::format(
        "star width grows by up to {:.1f} px and light is lost with it, up to {:.1f} mag; losing focus would keep the "
        "light",
        most, dim);
  }
  std::string text =
      fmt::format("star width grows from {:.1f} px by up to {:.1f} px while the light stays, with no direction to it",
                  s.best_fwhm_px, most);
  if (s.width_per_kelvin)
    text += fmt::format("; it follows the temperature, {:+.2f} px per kelvin", *s.width_per_kelvin);
  return text;
}

}  // namespace

std::string evidence_for(const std::string& cause, const Ledger& l, const NightDiagnosis& n, std::size_t frames) {
  const StarSizes& s = l.sizes;
  if (cause == "periodic error" && !n.periodic.empty()) return periodic_evidence(n);
  if (cause == "settling" && n.settling)
    return fmt::format("the field moves {:.1f} px at the start and comes to rest, by a factor e every {:.0f} s",
                       std::hypot(n.settling->x_px, n.settling->y_px), n.settling->decay_s);
  if (cause == "slip") return slip_evidence(l, frames);
  if (cause == "gust or knock")
    return fmt::format("{} frame{} smeared out of line with {} neighbours, and the field returns to its place", frames,
                       frames == 1 ? "" : "s", frames == 1 ? "its" : "their");
  if (cause == "defocus" || cause == "dew") return size_evidence(cause, s);
  if (cause == "lens aberration")
    return fmt::format(
        "stars at the corner are drawn out by {:.1f} px (± {:.2f}) on every frame alike, whatever the mount does",
        s.aberration_px, s.aberration_sigma_px);
  if (cause == "tilt")
    return fmt::format(
        "stars are {:.1f} px (± {:.2f}) wider at one edge than at the opposite one, on every frame alike", s.tilt_px,
        s.tilt_sigma_px);
  if (cause == "clouds") {
    const double dim = s.dim_mag.empty() ? 0.0 : *std::max_element(s.dim_mag.begin(), s.dim_mag.end());
    return fmt::format(
        "stars fade by up to {:.1f} mag without growing; {} frame{} below half of the {:.0f} stars expected or of "
        "their light",
        dim, frames, frames == 1 ? "" : "s", s.stars_expected);
  }
  if (cause != "unexplained" && n.drift) return drift_evidence(cause, *n.drift);
  if (n.drift && whole_drift_word(*n.drift) == "unexplained" && !separable(*n.drift))
    return fmt::format("{} frame{}; an even drift of {:.2f} px a minute is part of it, which could be axis or rate",
                       frames, frames == 1 ? "" : "s", n.drift->worst_px_per_min);
  return left_over_evidence(l, frames);
}

}  // namespace polewright::diagnose

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <map>
#include <numbers>

#include "diagnose/left_over.hpp"
#include "diagnose/shorter_subs.hpp"

namespace polewright {
namespace diagnose {
namespace {

/// A leap across more than this share of the frame is somebody aiming anew, not a clamp giving way.
constexpr double kReAimShare = 0.1;

void list_events(Ledger& l) {
  const Account& a = l.finding.account;
  const double noise = wander_px(l.series, a);
  for (std::size_t i = 0; i < a.components.size(); ++i) {
    const Component& c = a.components[i];
    if (c.term != Term::step && c.term != Term::blip) continue;
    Ledger::Event e;
    e.frame = l.series.frame[static_cast<std::size_t>(c.at)];
    e.before = l.series.frame[static_cast<std::size_t>(std::max<Eigen::Index>(1, c.at) - 1)];
    e.stays = c.term == Term::step;
    e.moved = l.series.px_from_y * a.coefficients.row(a.row_of(i)).transpose();
    const double after = static_cast<double>(l.series.size() - c.at), before = static_cast<double>(c.at);
    e.sigma_px = e.stays ? noise * std::sqrt(1.0 / std::max(1.0, after) + 1.0 / std::max(1.0, before)) : noise;
    e.bic_gain = l.finding.bic_gain[i];
    l.events.push_back(e);
  }
  std::sort(l.events.begin(), l.events.end(), [](const auto& x, const auto& y) { return x.frame < y.frame; });
}

/// A leap during an exposure leaves that frame half way: two steps in a row the same way are one.
void join_halves(Ledger& l) {
  for (std::size_t i = 0; i + 1 < l.events.size();) {
    Ledger::Event &a = l.events[i], &b = l.events[i + 1];
    if (a.stays && b.stays && b.frame <= a.frame + 1 && a.moved.dot(b.moved) > 0.0) {
      a.moved += b.moved;
      a.bic_gain = std::max(a.bic_gain, b.bic_gain);
      l.events.erase(l.events.begin() + static_cast<std::ptrdiff_t>(i) + 1);
    } else {
      ++i;
    }
  }
}

/// Deliberate shifts (dithering, aiming anew) fall between exposures; a clamp that gives way does not wait for the
/// shutter. Leaps that left no frame smeared are slips only as long as chance can have put them all into the gaps.
void tell_deliberate(Ledger& l) {
  const double cadence = l.series.cadence_s();
  if (cadence <= 0.0) return;
  const double gap =
      std::clamp(1.0 - median_of({l.series.exposure_s.begin(), l.series.exposure_s.end()}) / cadence, 0.02, 1.0);
  double chance = 1.0;
  const auto unsmeared = [&](const Ledger::Event& e) {
    return e.stays && !l.sudden(e.frame) && (e.frame == 0 || !l.sudden(e.frame - 1));
  };
  for (const Ledger::Event& e : l.events) chance *= unsmeared(e) ? gap : 1.0;
  for (Ledger::Event& e : l.events) {
    const bool far = std::hypot(e.moved.x(), e.moved.y()) > kReAimShare * std::min(l.field.width_px, l.field.height_px);
    e.deliberate = e.stays && (far || (unsmeared(e) && chance < 0.01));
  }
}

void tell_steps(const Ledger& l, NightDiagnosis& out) {
  for (const Ledger::Event& e : l.events) {
    if (!e.stays || e.frame == 0) continue;
    NightStep step;
    step.after_frame = e.frame - 1;
    step.x_px = e.moved.x();
    step.y_px = e.moved.y();
    step.roll_arcmin = Angle::rad(e.moved.z() / corner_px(l.field)).arcmin();
    step.sigma_px = e.sigma_px;
    if (e.deliberate) step.kind = StepKind::re_aimed;
    out.steps.push_back(step);
  }
}

void tell_settling(const Ledger& l, NightDiagnosis& out) {
  const Account& a = l.finding.account;
  for (std::size_t i = 0; i < a.components.size(); ++i) {
    if (a.components[i].term != Term::settling) continue;
    const Displacement moved = l.series.px_from_y * a.coefficients.row(a.row_of(i)).transpose();
    out.settling =
        Settling{-moved.x(), -moved.y(), Angle::rad(-moved.z() / corner_px(l.field)).arcmin(), a.components[i].scale_s};
  }
}

PeriodicTerm periodic_term(const Ledger& l, std::size_t i) {
  const Account& a = l.finding.account;
  const Series& s = l.series;
  const Eigen::Index row = a.row_of(i);
  const double along = std::hypot(a.coefficients(row, 0), a.coefficients(row + 1, 0));
  const Displacement unit = s.px_from_y.col(0);
  const double px_per_unit = unit.head<2>().norm();
  PeriodicTerm p;
  p.period_s = a.components[i].scale_s;
  p.phase_rad = std::atan2(a.coefficients(row + 1, 0), a.coefficients(row, 0));
  p.cycles = s.span_s() / p.period_s;
  const WaveError& error = l.finding.wave_error[i];
  p.amplitude_px = along * px_per_unit;
  p.amplitude_sigma_px = error.amplitude * px_per_unit;
  p.significance = along / std::max(error.amplitude, 1e-12);
  p.period_sigma_s = error.period_s;
  p.false_alarm = false_alarm(s, a, i, l.options);
  if (l.field.focal_px) {
    // With the pole known the first column is a turn about it; its length in px per radian of turn says how far.
    const double turn_rad = l.field.pole ? star_turn_of(unit, l.field).norm() : px_per_unit / *l.field.focal_px;
    p.amplitude_arcsec = Angle::rad(along * turn_rad).arcsec();
    p.amplitude_sigma_arcsec = Angle::rad(error.amplitude * turn_rad).arcsec();
  }
  return p;
}

void tell_periodic(const Ledger& l, NightDiagnosis& out) {
  for (std::size_t i = 0; i < l.finding.account.components.size(); ++i)
    if (l.finding.account.components[i].term == Term::wave) out.periodic.push_back(periodic_term(l, i));
  std::sort(out.periodic.begin(), out.periodic.end(),
            [](const auto& a, const auto& b) { return a.amplitude_px > b.amplitude_px; });
  // What a strong wave's own inaccuracy leaves behind looks like further weak ones.
  std::erase_if(out.periodic,
                [&](const PeriodicTerm& p) { return p.amplitude_px < 0.03 * out.periodic.front().amplitude_px; });
}

void tell_notes(const Ledger& l, NightDiagnosis& out) {
  for (const NightCause& c : out.causes)
    if (c.cause == "unexplained")
      if (auto note = left_over_note(l, c.frames)) out.notes.push_back(std::move(*note));
  if (l.finding.restless)
    out.notes.push_back(
        "the pointing moves so often from frame to frame (dithering, or play) that single steps are not listed");
  if (out.drift && !l.field.pole && whole_drift_word(*out.drift) == "unexplained")
    out.notes.push_back("the stars were not identified, so the even drift cannot be laid to axis or rate");
  if (l.frames.size() == 1)
    out.notes.push_back("a frame alone shows that its stars are drawn out, but not by what");
  else if (l.series.size() < 4 && !out.drift)
    out.notes.push_back(
        fmt::format("{} of {} frames can be compared with one another, too few to know the motion through the sequence",
                    l.series.size(), l.frames.size()));
}

}  // namespace
}  // namespace diagnose

NightDiagnosis diagnose_night(const std::vector<NightFrame>& frames, const NightField& field,
                              const NightOptions& options) {
  using namespace diagnose;
  NightDiagnosis out;
  Series series = series_of(frames, field);
  Finding finding = explain_motion(series, options);
  Ledger l{frames, field, options, std::move(series), std::move(finding), star_sizes(frames, options), {}, {}};
  list_events(l);
  out.drift = steady_drift(l.series, l.finding.account, field);
  if (out.drift && field.axis_offset) {
    out.drift->axis_offset = field.axis_offset;
    out.drift->axis_offset_sigma = field.axis_sigma;
  }
  if (out.drift && field.rate_ratio) {
    out.drift->rate_ratio = field.rate_ratio;
    out.drift->rate_sigma = field.rate_sigma;
  }
  l.motions = frame_motions(frames, l.series, l.finding, out.drift, field, options);
  join_halves(l);
  tell_deliberate(l);
  tell_steps(l, out);
  tell_settling(l, out);
  tell_periodic(l, out);
  out.wander_px = wander_px(l.series, l.finding.account);
  std::vector<Judgement> judgements;
  for (std::size_t i = 0; i < frames.size(); ++i) {
    judgements.push_back(judge(l, i));
    out.frames.push_back(judgements.back().finding);
  }
  out.causes = causes_of(l, judgements, out);
  const ShorterSubs shorter = shorter_subs(l, out.frames);
  out.longest_sharp_s = shorter.longest_sharp_s;
  out.saved_by_longest = shorter.saved_by_longest;
  out.saved_by_half = shorter.saved_by_half;
  tell_notes(l, out);
  return out;
}

const char* to_text(Verdict verdict) {
  switch (verdict) {
    case Verdict::sharp:
      return "sharp";
    case Verdict::soft:
      return "soft";
    case Verdict::trailed:
      return "trailed";
    case Verdict::unusable:
      return "unusable";
  }
  return "";
}

Status NightOptions::validate() const {
  const auto wrong = [](const std::string& what, const std::string& expected) {
    return Error{ErrorCode::option_invalid, "", what, expected, ""};
  };
  if (!(tolerance_px > 0.0)) return wrong(fmt::format("tolerance_px is {:g}", tolerance_px), "more than 0");
  if (!(least_share_of_tolerance > 0.0 && least_share_of_tolerance <= 1.0))
    return wrong(fmt::format("least_share_of_tolerance is {:g}", least_share_of_tolerance), "more than 0, at most 1");
  if (!(least_bic_gain >= 0.0)) return wrong(fmt::format("least_bic_gain is {:g}", least_bic_gain), "0 or more");
  if (!(least_period_s > 0.0 && longest_period_s > least_period_s))
    return wrong(fmt::format("periods {:g} to {:g} s", least_period_s, longest_period_s), "a range above 0");
  return {};
}

}  // namespace polewright

#include "diagnose/shorter_subs.hpp"

#include <algorithm>

namespace polewright::diagnose {
namespace {

constexpr int kMoments = 400;       ///< looked at; a worm of the shortest period in a whole night is met everywhere
constexpr double kRounding = 1.02;  ///< a frame saved to within 2 % of the tolerance is saved

bool steady(Term term) {
  return term == Term::drift || term == Term::bend || term == Term::bend3 || term == Term::wave;
}

double typical_exposure_s(const Ledger& l) {
  std::vector<double> all;
  for (const NightFrame& f : l.frames) all.push_back(f.exposure_s);
  return median_of(std::move(all));
}

/// Largest trail that the steady motion makes in any exposure of this length.
double worst_steady_px(const Ledger& l, double exposure_s) {
  const Account& a = l.finding.account;
  const Series& s = l.series;
  double worst = 0.0;
  for (int k = 0; k < kMoments; ++k) {
    const double t = s.time_s[0] + s.span_s() * (k + 0.5) / kMoments;
    Displacement moved = Displacement::Zero();
    for (std::size_t i = 0; i < a.components.size(); ++i)
      if (steady(a.components[i].term)) moved += a.moved(i, s, t - 0.5 * exposure_s, t + 0.5 * exposure_s);
    worst = std::max(worst, worst_of(moved, l.field));
  }
  return worst;
}

std::optional<double> longest_by_model(const Ledger& l) {
  const std::vector<Component>& c = l.finding.account.components;
  if (std::none_of(c.begin(), c.end(), [](const Component& x) { return steady(x.term); })) return {};
  const double exposure = typical_exposure_s(l), limit = l.options.tolerance_px;
  if (exposure <= 0.0) return {};
  const double worst = worst_steady_px(l, exposure);
  if (worst <= 0.0) return {};
  if (worst <= limit) return exposure * limit / worst;  // beyond what was shot: by proportion
  double low = 0.0, high = exposure;
  for (int i = 0; i < 12; ++i) {  // to a four-thousandth of the exposure
    const double middle = 0.5 * (low + high);
    (worst_steady_px(l, middle) > limit ? high : low) = middle;
  }
  return low > 0.0 ? std::optional(low) : std::nullopt;
}

/// Too few frames for a model of the motion: by the trails themselves.
std::optional<double> longest_by_trails(const Ledger& l, const std::vector<FrameFinding>& frames) {
  std::optional<double> longest;
  for (std::size_t i = 0; i < frames.size(); ++i) {
    const FrameFinding& f = frames[i];
    if (!f.trail_px || l.sudden(i) || f.verdict == Verdict::unusable || l.frames[i].exposure_s <= 0.0) continue;
    const double trail = std::max(*f.trail_px, f.trail_sigma_px.value_or(0.0));
    if (trail > 0.0) longest = std::min(longest.value_or(1e9), l.frames[i].exposure_s * l.options.tolerance_px / trail);
  }
  return longest;
}

/// Share of the trailed frames that exposures shorter by this factor would have kept sharp.
std::optional<double> saved_by(double factor, const Ledger& l, const std::vector<FrameFinding>& frames) {
  std::size_t trailed = 0, saved = 0;
  for (std::size_t i = 0; i < frames.size(); ++i) {
    if (frames[i].verdict != Verdict::trailed) continue;
    ++trailed;
    saved += !l.sudden(i) && *frames[i].trail_px * factor <= kRounding * l.options.tolerance_px ? 1 : 0;
  }
  if (trailed == 0) return {};
  return static_cast<double>(saved) / static_cast<double>(trailed);
}

}  // namespace

ShorterSubs shorter_subs(const Ledger& l, const std::vector<FrameFinding>& frames) {
  ShorterSubs out;
  out.longest_sharp_s = l.series.size() >= 4 ? longest_by_model(l) : longest_by_trails(l, frames);
  out.saved_by_half = saved_by(0.5, l, frames);
  const double exposure = typical_exposure_s(l);
  if (out.longest_sharp_s && exposure > 0.0 && *out.longest_sharp_s < exposure)
    out.saved_by_longest = saved_by(*out.longest_sharp_s / exposure, l, frames);
  return out;
}

}  // namespace polewright::diagnose

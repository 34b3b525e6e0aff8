#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <map>

#include "diagnose/ledger.hpp"

namespace polewright::diagnose {
namespace {

struct Tally {
  double votes = 0.0;
  double trail_px = 0.0;
  std::size_t frames = 0;
};
using Tallies = std::map<std::string, Tally>;

void add(Tallies& t, const Vote& v, bool main) {
  Tally& tally = t[v.cause];
  tally.votes += v.share;
  tally.trail_px = std::max(tally.trail_px, v.trail_px);
  tally.frames += main ? 1 : 0;
}

/// A pattern that is the same on every frame spoils also the frames that nothing else spoils.
void add_pattern(const Ledger& l, const std::vector<Judgement>& judgements, Tallies& t) {
  const StarSizes& s = l.sizes;
  const double limit = l.options.tolerance_px;
  const bool lens = s.aberration_px > limit && s.aberration_px > l.options.least_sigma * s.aberration_sigma_px;
  const bool tilt = s.tilt_px > limit && s.tilt_px > l.options.least_sigma * s.tilt_sigma_px;
  if (!lens && !tilt) return;
  const double all = (lens ? s.aberration_px : 0.0) + (tilt ? s.tilt_px : 0.0);
  for (const Judgement& j : judgements) {
    if (j.finding.verdict != Verdict::sharp) continue;
    if (lens)
      add(t, {"lens aberration", s.aberration_px / all, s.aberration_px}, s.aberration_px >= s.tilt_px || !tilt);
    if (tilt) add(t, {"tilt", s.tilt_px / all, s.tilt_px}, s.tilt_px > s.aberration_px || !lens);
  }
}

/// Movements that show in the motion, and on some frame come near the tolerance, though no frame is spoiled by them.
void add_visible(const Ledger& l, const std::optional<SteadyDrift>& drift, Tallies& t) {
  const double least = l.options.least_share_of_tolerance * l.options.tolerance_px;
  // Axis and rate must be worth telling in the sequence's middle too: at its ends the bends of a fit swing free.
  const auto steady = [&](const std::string& cause, double exposure_s) {
    if (!drift || !separable(*drift) || cause == "periodic error" || cause == "settling") return true;
    const double px = cause == "axis misalignment" ? drift->axis_px_per_min : drift->rate_px_per_min;
    return px * exposure_s / 60.0 >= least;
  };
  for (std::size_t i = 0; i < l.motions.size(); ++i)
    for (const Part& p : l.motions[i].parts)
      if (p.cause != "unexplained" && p.trail_px >= least && steady(p.cause, l.frames[i].exposure_s))
        t[p.cause].trail_px = std::max(t[p.cause].trail_px, p.trail_px);
  // A leap that smeared no frame was looked for between all frames; it needs more than a frame's own departure does.
  const double wander = wander_px(l.series, l.finding.account);
  for (const Ledger::Event& e : l.events) {
    const double far = std::hypot(e.moved.x(), e.moved.y());
    if (e.stays && !e.deliberate && far > std::max(l.options.tolerance_px, 1.5 * l.options.least_sigma * wander))
      t["slip"].trail_px = std::max(t["slip"].trail_px, far);
  }
}

double bic_gain_of(const std::string& cause, const Ledger& l) {
  double gain = 0.0;
  for (std::size_t i = 0; i < l.finding.bic_gain.size(); ++i) {
    const Term term = l.finding.account.components[i].term;
    const bool mine = term == Term::wave       ? cause == "periodic error"
                      : term == Term::settling ? cause == "settling"
                      : term == Term::step     ? cause == "slip"
                      : term == Term::blip     ? cause == "gust or knock"
                                               : cause == "axis misalignment" || cause == "tracking rate" ||
                                                 cause == "not tracking" || cause == "reversed tracking";
    if (mine) gain = std::max(gain, l.finding.bic_gain[i]);
  }
  return gain;
}

/// A cause must spoil a frame, or come near the tolerance on one.
bool worth_telling(const Tally& tally, const NightOptions& options) {
  return tally.frames > 0 || tally.trail_px >= options.least_share_of_tolerance * options.tolerance_px;
}

}  // namespace

std::vector<NightCause> causes_of(const Ledger& l, const std::vector<Judgement>& judgements,
                                  const NightDiagnosis& so_far) {
  Tallies tallies;
  for (const Judgement& j : judgements)
    for (const Vote& v : j.votes) add(tallies, v, j.finding.cause == v.cause);
  add_pattern(l, judgements, tallies);
  add_visible(l, so_far.drift, tallies);
  double all = 0.0, all_px = 0.0;
  for (const auto& [cause, tally] : tallies) {
    all += tally.votes;
    all_px += tally.trail_px;
  }
  std::vector<NightCause> out;
  for (const auto& [cause, tally] : tallies) {
    if (!worth_telling(tally, l.options)) continue;
    const double share = all > 0.0 ? tally.votes / all : tally.trail_px / std::max(all_px, 1e-9);
    out.push_back({cause, share, tally.trail_px, tally.frames, bic_gain_of(cause, l),
                   evidence_for(cause, l, so_far, tally.frames)});
  }
  std::sort(out.begin(), out.end(), [](const auto& a, const auto& b) { return a.share > b.share; });
  return out;
}

}  // namespace polewright::diagnose

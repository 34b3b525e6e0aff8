// A reduced labelled set at measurement level: every cause alone at its middle strength and some clean nights. The
// whole set and its confusion table: RESULTS.md.
#include <catch2/catch.hpp>
#include <cmath>

#include "nights/night_maker.hpp"

using namespace polewright;

namespace {

/// Trailed or not is only asked outside ±15 % of the tolerance, where a measurement of 6 % must be right.
int wrong_verdicts(const test::MadeNight& night, const NightDiagnosis& d) {
  int wrong = 0;
  for (std::size_t i = 0; i < night.frames.size(); ++i) {
    if (std::abs(night.true_trail_px[i] - 1.0) < 0.15 || d.frames[i].verdict == Verdict::unusable) continue;
    wrong += (d.frames[i].verdict == Verdict::trailed) != (night.true_trail_px[i] > 1.0) ? 1 : 0;
  }
  return wrong;
}

/// Nights for which `wanted` holds; the limits are those the analysis is required to keep.
template <class Wanted>
void judge_nights(const std::vector<test::NightPlan>& all, const Wanted& wanted) {
  int nights = 0, right = 0, wrong_frames = 0, frames = 0;
  for (std::size_t i = 0; i < all.size(); ++i) {
    if (!wanted(i)) continue;
    const test::MadeNight night = test::make_night(all[i]);
    const NightDiagnosis d = diagnose_night(night.frames, night.field);
    const std::string truth = all[i].causes.empty() ? "" : all[i].causes.front();
    const std::string named = d.causes.empty() ? "" : d.causes.front().cause;
    INFO(all[i].name << ", seed " << all[i].seed << ", named " << named);
    CHECK(truth == named);
    ++nights;
    right += truth == named ? 1 : 0;
    wrong_frames += wrong_verdicts(night, d);
    frames += static_cast<int>(night.frames.size());
  }
  CHECK(right >= 0.95 * nights);
  CHECK(wrong_frames <= 0.01 * frames);
}

}  // namespace

TEST_CASE("labelled nights: the dominant cause is named, clean nights have none") {
  const std::vector<test::NightPlan> all = test::labelled_nights(12);
  judge_nights(all, [&](std::size_t i) { return all[i].causes.size() != 1 || i % 3 == 1; });
}

TEST_CASE("labelled nights of a second mind: faults in other forms, with gaps, rough clocks and outliers") {
  judge_nights(test::twisted_nights(), [](std::size_t i) { return i % 3 == 0; });
}

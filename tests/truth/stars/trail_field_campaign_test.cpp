// Varied frames: whether the trail field's errors are what it says they are.
#include <catch2/catch.hpp>

#include "truth/stars/statistics.hpp"
#include "truth/stars/trail_field_frames.hpp"

using namespace polewright;
using namespace polewright::test;

namespace {

struct Campaign {
  std::array<std::vector<double>, 3> normalised;  ///< x, y, twist of the frames that moved
  int still = 0, still_within_2 = 0, still_within_3 = 0;
  int clear = 0, seen = 0;  ///< moved by more than five times the error given; told to be significant
};

void add(const FieldFrame& f, Campaign& c) {
  StarOptions options;
  options.focal_px = f.scene.lens.focal_px();
  const auto list = find_stars(f.frame(), options);
  REQUIRE(list);
  const TrailField& t = list->trail_field;
  CAPTURE(f.what);
  REQUIRE(t.rotation);
  const double focal = f.scene.lens.focal_px();
  const Vec<Camera> truth = true_rotation(f.scene), got = *t.rotation;
  const auto z = [&](double sign) {
    std::array<double, 3> out{sign * got.x - truth.x, sign * got.y - truth.y, sign * got.z - truth.z};
    for (std::size_t k = 0; k < 3; ++k) out[k] /= std::sqrt(t.rotation_cov[4 * k]);
    return out;
  };
  const auto size = [](const std::array<double, 3>& v) { return v[0] * v[0] + v[1] * v[1] + v[2] * v[2]; };
  const auto best = size(z(1.0)) <= size(z(-1.0)) ? z(1.0) : z(-1.0);
  result_row("| %s | %.2f %.2f %.2f | %.3f %.3f %.3f | %.1f %.1f %.1f | %.2f ± %.2f |\n", f.what.c_str(),
             truth.x * focal, truth.y * focal, truth.z * focal, std::sqrt(t.rotation_cov[0]) * focal,
             std::sqrt(t.rotation_cov[4]) * focal, std::sqrt(t.rotation_cov[8]) * focal, best[0], best[1], best[2],
             t.worst_trail_px, t.worst_trail_sigma_px);
  if (f.motion_px == 0.0) {
    ++c.still;
    c.still_within_2 += t.worst_trail_px < 2.0 * t.worst_trail_sigma_px;
    c.still_within_3 += t.worst_trail_px < 3.0 * t.worst_trail_sigma_px;
    return;
  }
  for (std::size_t k = 0; k < 3; ++k) c.normalised[k].push_back(best[k]);
  if (f.motion_px < 5.0 * t.worst_trail_sigma_px) return;
  ++c.clear;
  c.seen += t.worst_trail_px > 3.0 * t.worst_trail_sigma_px;
}

Campaign run(unsigned first, unsigned last) {
  result_row("\n| frame | ω·f px true | claimed ± | error over claim | worst trail px |\n|---|---|---|---|---|\n");
  Campaign c;
  for (unsigned i = first; i < last; ++i) add(campaign_frame(i), c);
  result_row(
      "| normalised errors, rms | | | %.2f %.2f %.2f | still within 2σ: %d of %d; clear motion seen: %d of %d |\n",
      spread_of(c.normalised[0]).rms, spread_of(c.normalised[1]).rms, spread_of(c.normalised[2]).rms, c.still_within_2,
      c.still, c.seen, c.clear);
  return c;
}

}  // namespace

TEST_CASE("trail field errors are what they are said to be, a dozen frames") {
  const Campaign c = run(0, 18);
  // Twelve normalised errors scatter by a fifth of their rms; 1.2 is the target of the long run below.
  for (const auto& z : c.normalised) CHECK(spread_of(z).rms < 1.2 * 1.4);
  CHECK(c.still_within_3 == c.still);
  CHECK(c.still_within_2 >= c.still - 1);
  CHECK(c.seen == c.clear);
}

TEST_CASE("trail field errors are what they are said to be, the campaign", "[.campaign]") {
  const Campaign c = run(0, 132);
  // 88 normalised errors scatter by 8 % of their rms.
  for (const auto& z : {c.normalised[0], c.normalised[1]}) {
    CHECK(spread_of(z).rms < 1.2);
    CHECK(spread_of(z).rms > 0.75);
  }
  CHECK(spread_of(c.normalised[2]).rms < 1.2);  // twist: what the lens could hide is in its error and seldom there
  CHECK(20 * c.still_within_2 >= 19 * c.still);
  CHECK(c.seen == c.clear);
}

#include <catch2/catch.hpp>
#include <cmath>

#include "polewright/stars.hpp"
#include "truth/stars/render.hpp"

using namespace polewright;
using namespace polewright::test;

namespace {

const Star* nearest(const StarList& list, double x, double y, double within_px) {
  const Star* best = nullptr;
  double best_distance = within_px;
  for (const Star& s : list.stars) {
    const double d = std::hypot(s.position.x - x, s.position.y - y);
    if (d < best_distance) best = &s, best_distance = d;
  }
  return best;
}

}  // namespace

TEST_CASE("stars on a grid are all found, where they are and as bright as they are") {
  RenderOptions o;
  const auto truth = star_grid(o, 32, {.sigma_px = 1.2, .electrons = 5000.0}, 7);
  const auto found = find_stars(render(truth, o));
  REQUIRE(found);
  CHECK(found->stars.size() == truth.size());
  for (const RenderedStar& t : truth) {
    const Star* s = nearest(*found, t.x, t.y, 1.0);
    REQUIRE(s);
    // The bound for these stars is 0.028 px; 0.15 px is above five of it.
    CHECK(std::hypot(s->position.x - t.x, s->position.y - t.y) < 0.15);
    CHECK(s->flux == Approx(t.electrons).epsilon(0.12));  // flux error is 2.5 %
  }
  CHECK(found->fwhm_px == Approx(2.3548 * std::sqrt(1.2 * 1.2 + 1.0 / 12)).epsilon(0.05));
  CHECK(found->sky_level == Approx(612.0).margin(1.0));
  CHECK(found->sky_noise == Approx(std::sqrt(109.0)).epsilon(0.03));
}

TEST_CASE("an empty sky gives no star and says so") {
  RenderOptions o;
  const auto found = find_stars(render({}, o));
  REQUIRE(found);
  CHECK(found->stars.empty());
  CHECK(found->flags == std::vector<std::string>{"no stars"});
}

TEST_CASE("a threshold that would drown in noise is refused") {
  StarOptions options;
  options.threshold_sigma = 1.0;
  const auto found = find_stars(render({}, {}), options);
  REQUIRE_FALSE(found);
  CHECK(found.error().code == ErrorCode::option_invalid);
}

TEST_CASE("the frame's typical trail comes with an error") {
  RenderOptions o;
  o.width = o.height = 640;
  RenderedStar like{.sigma_px = 1.2, .electrons = 20000.0};
  like.trail_x_px = 9.0;
  like.trail_y_px = 4.0;
  const auto found = find_stars(render(star_grid(o, 48, like, 21), o));
  REQUIRE(found);
  CHECK(found->trail_sigma_px > 0.0);
  // Five of its own errors; at a length of eight widths the bias of a length, σ²/2L, is far below one.
  CHECK(std::abs(found->trail_px - std::hypot(9.0, 4.0)) < 5.0 * found->trail_sigma_px);
  CHECK(found->trail_angle_deg == Approx(std::atan2(4.0, 9.0) * 57.29578).margin(0.5));
}

TEST_CASE("each option has its limits and the refusal names value and limit") {
  CHECK_FALSE(StarOptions{}.validate());
  const auto refused = [](auto change) {
    StarOptions options;
    change(options);
    const auto wrong = options.validate();
    return wrong && wrong->code == ErrorCode::option_invalid && !wrong->found.empty() && !wrong->expected.empty();
  };
  CHECK(refused([](StarOptions& o) { o.threshold_sigma = 2.9; }));
  CHECK(refused([](StarOptions& o) { o.threshold_sigma = 1e6; }));
  CHECK(refused([](StarOptions& o) { o.threshold_sigma = std::nan(""); }));
  CHECK(refused([](StarOptions& o) { o.max_stars = 0; }));
  CHECK(refused([](StarOptions& o) { o.max_fitted = -1; }));
  CHECK(refused([](StarOptions& o) { o.focal_px = 0.0; }));
  CHECK(refused([](StarOptions& o) { o.focal_px = std::nan(""); }));
  CHECK(refused([](StarOptions& o) { o.threads = -1; }));
  StarOptions limits;
  limits.threshold_sigma = 3.0;
  limits.max_stars = 1;
  limits.max_fitted = 0;
  CHECK_FALSE(limits.validate());
}

// Things that are not stars are kept and say what they are.
#include <catch2/catch.hpp>
#include <cmath>

#include "polewright/stars.hpp"
#include "truth/stars/render.hpp"

using namespace polewright;
using namespace polewright::test;

namespace {

struct Scene {
  RenderOptions options;
  std::vector<RenderedStar> stars;
  Frame frame;
};

Scene sky_with_stars() {
  Scene s;
  s.options.width = s.options.height = 512;
  s.stars = star_grid(s.options, 40, {.sigma_px = 1.1, .electrons = 8000.0}, 5);
  s.frame = render(s.stars, s.options);
  return s;
}

void add(Frame& f, int x, int y, int adu) {
  auto& p = f.pixels[static_cast<std::size_t>(y * f.width + x)];
  p = static_cast<std::uint16_t>(std::min(65535, p + adu));
}

const Star* near(const StarList& list, double x, double y) {
  for (const Star& s : list.stars)
    if (std::hypot(s.position.x - x, s.position.y - y) < 2.5) return &s;
  return nullptr;
}

}  // namespace

TEST_CASE("hot pixels are flagged, stars are not") {
  Scene s = sky_with_stars();
  for (int k = 0; k < 10; ++k) add(s.frame, 40 + 40 * k, 43 + 40 * k, 300 * (k + 1));
  const auto list = find_stars(s.frame);
  REQUIRE(list);
  for (int k = 0; k < 10; ++k) {
    const Star* hot = near(*list, 40 + 40 * k, 43 + 40 * k);
    if (hot != nullptr) CHECK(hot->flags.hot_pixel);
  }
  for (const RenderedStar& t : s.stars) {
    const Star* star = near(*list, t.x, t.y);
    REQUIRE(star);
    CHECK(star->flags.usable());
  }
}

TEST_CASE("a warm column is flagged") {
  Scene s = sky_with_stars();
  for (int y = 0; y < 512; ++y) add(s.frame, 222, y, 25);
  const auto list = find_stars(s.frame);
  REQUIRE(list);
  int believed = 0;
  for (const Star& star : list->stars)
    if (std::abs(star.position.x - 222.0) < 1.5 && star.flags.usable()) ++believed;
  CHECK(believed <= 1);  // 512 rows of a column 2.4σ bright
}

TEST_CASE("a satellite's streak is flagged along its length") {
  Scene s = sky_with_stars();
  s.stars.push_back(
      {.x = 256.0, .y = 250.0, .sigma_px = 1.1, .electrons = 250000.0, .trail_x_px = 500.0, .trail_y_px = 180.0});
  s.frame = render(s.stars, s.options);
  s.stars.pop_back();
  const auto list = find_stars(s.frame);
  REQUIRE(list);
  int believed = 0, flagged = 0;
  for (const Star& star : list->stars) {
    const double across = (star.position.y - 250.0) * 0.9409 - (star.position.x - 256.0) * 0.3387;
    bool is_star = false;
    for (const RenderedStar& t : s.stars) is_star |= std::hypot(star.position.x - t.x, star.position.y - t.y) < 4.0;
    if (std::abs(across) < 2.0 && !is_star) ++(star.flags.usable() ? believed : flagged);
  }
  CHECK(flagged > 10);
  CHECK(believed <= flagged / 10);
}

TEST_CASE("a saturated star keeps a centroid from its wings, and a flag") {
  RenderOptions o;
  o.width = o.height = 384;
  o.white_adu = 16383.0;
  auto stars = star_grid(o, 48, {.sigma_px = 1.3, .electrons = 9000.0}, 11);
  for (std::size_t i = 0; i < stars.size(); i += 7) stars[i].electrons = 600000.0;  // four times what the pixel holds
  const auto list = find_stars(render(stars, o));
  REQUIRE(list);
  for (const RenderedStar& t : stars) {
    const Star* star = near(*list, t.x, t.y);
    REQUIRE(star);
    CHECK(star->flags.saturated == (t.electrons > 1e5));
    CHECK(star->flags.usable());
    if (t.electrons > 1e5) CHECK(std::hypot(star->position.x - t.x, star->position.y - t.y) < 0.05);  // a tenth of σ/2
  }
}

/// Single stars on a grid, every fifth with a companion to its right; companions come last.
struct Pairs {
  explicit Pairs(double apart_px) {
    options.width = options.height = 384;
    stars = star_grid(options, 48, {.sigma_px = 1.2, .electrons = 30000.0}, 13);
    singles = stars.size();
    for (std::size_t i = 0; i < singles; i += 5) {
      RenderedStar second = stars[i];
      second.x += apart_px;
      second.electrons = 20000.0;
      stars.push_back(second);
    }
  }
  RenderOptions options;
  std::vector<RenderedStar> stars;
  std::size_t singles = 0;
};

TEST_CASE("a close pair is split and measured as two") {
  const Pairs pairs(4.2);  // 1.5 full widths
  const auto& [o, stars, singles] = pairs;
  const auto list = find_stars(render(stars, o));
  REQUIRE(list);
  for (std::size_t i = 0; i < stars.size(); ++i) {
    const bool paired = i >= singles || i % 5 == 0;
    const Star* best = nullptr;
    for (const Star& s : list->stars)
      if (std::hypot(s.position.x - stars[i].x, s.position.y - stars[i].y) < 0.5) best = &s;
    CAPTURE(i, paired);
    REQUIRE(best);
    CHECK(best->flags.usable());
    // Fitted together they are good to 0.02 px; taken alone each would be off by some tenths.
    CHECK(std::hypot(best->position.x - stars[i].x, best->position.y - stars[i].y) < 0.1);
  }
}

TEST_CASE("a pair too close to split is flagged blended, single stars are not") {
  const Pairs pairs(2.6);  // 0.9 full widths: the filter sees one maximum
  const auto& [o, stars, singles] = pairs;
  const auto list = find_stars(render(stars, o));
  REQUIRE(list);
  for (std::size_t i = 0; i < singles; ++i) {
    const Star* found = near(*list, stars[i].x + (i % 5 == 0 ? 1.0 : 0.0), stars[i].y);
    REQUIRE(found);
    CAPTURE(i);
    CHECK(found->flags.blended == (i % 5 == 0));
  }
}

TEST_CASE("the list does not depend on the number of threads") {
  const Scene s = sky_with_stars();
  StarOptions one, many;
  one.threads = 1;
  many.threads = 4;
  const auto a = find_stars(s.frame, one), b = find_stars(s.frame, many);
  REQUIRE(a->stars.size() == b->stars.size());
  for (std::size_t i = 0; i < a->stars.size(); ++i) {
    CHECK(a->stars[i].position.x == b->stars[i].position.x);
    CHECK(a->stars[i].flux == b->stars[i].flux);
  }
}

// What is said about a frame as a whole; the conditions are those of polewright/stars.hpp.
#include <algorithm>
#include <catch2/catch.hpp>

#include "polewright/stars.hpp"
#include "truth/stars/render.hpp"

using namespace polewright;
using namespace polewright::test;

namespace {

using Flags = std::vector<std::string>;

RenderOptions megapixel() {
  RenderOptions o;
  o.width = 1200;
  o.height = 900;
  return o;
}

Flags flags_of(const Frame& frame) {
  const auto list = find_stars(frame);
  REQUIRE(list);
  return list->flags;
}

std::vector<RenderedStar> field(const RenderOptions& o) {
  return star_grid(o, 32, {.sigma_px = 1.2, .electrons = 4000.0}, 3);
}

}  // namespace

TEST_CASE("a clear starry frame has no flag") {
  const RenderOptions o = megapixel();
  CHECK(flags_of(render(field(o), o)).empty());
}

TEST_CASE("daylight: a bright sky without stars, or one that fills the range") {
  RenderOptions o = megapixel();
  o.white_adu = 16383.0;
  o.sky_electrons = 0.3 * 16000.0;
  CHECK(flags_of(render({}, o)) == Flags{"daylight", "no stars"});
  auto stars = field(o);
  for (auto& s : stars) s.electrons = 20000.0;
  CHECK(flags_of(render(stars, o)).empty());  // a sky of streetlamps, with stars
  o.sky_electrons = 20000.0;
  const Flags full = flags_of(render({}, o));
  CHECK(std::count(full.begin(), full.end(), "daylight") == 1);
}

TEST_CASE("black: a cap on the lens, hot pixels or not") {
  RenderOptions o = megapixel();
  o.sky_electrons = 0.5;
  Frame dark = render({}, o);
  CHECK(flags_of(dark) == Flags{"black", "no stars"});
  for (int k = 0; k < 40; ++k) dark.pixels[static_cast<std::size_t>((20 * k + 15) * o.width + 29 * k + 11)] = 9000;
  CHECK(flags_of(dark) == Flags{"black"});
  CHECK(flags_of(render(field(o), o)).empty());  // a short exposure from a dark place
}

TEST_CASE("clouded: sky without stars, or stars in parts of it only") {
  const RenderOptions o = megapixel();
  CHECK(flags_of(render({}, o)) == Flags{"clouded", "no stars"});
  auto stars = field(o);
  std::erase_if(stars, [&](const RenderedStar& s) { return s.x > 0.6 * o.width; });
  CHECK(flags_of(render(stars, o)) == Flags{"clouded"});
}

TEST_CASE("ground without stars is no cloud") {
  const RenderOptions o = megapixel();
  auto stars = field(o);
  std::erase_if(stars, [&](const RenderedStar& s) { return s.y > 0.6 * o.height; });
  auto electrons = expected_electrons(stars, o);
  for (int y = 560; y < o.height; ++y)
    for (int x = 0; x < o.width; ++x) electrons[static_cast<std::size_t>(y * o.width + x)] = 3.0;
  CHECK(flags_of(to_frame(electrons, o)).empty());
}

TEST_CASE("jpeg is said of lossy files") {
  const RenderOptions o = megapixel();
  Frame f = render(field(o), o);
  f.lossy = true;
  CHECK(flags_of(f) == Flags{"jpeg"});
}

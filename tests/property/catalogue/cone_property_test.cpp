#include <rapidcheck.h>

#include <algorithm>
#include <catch2/catch.hpp>

#include "catalogue/packed.hpp"
#include "polewright/catalogue.hpp"

using namespace polewright;

namespace {

/// A direction anywhere, with the poles and the zero of right ascension oftener than chance would give.
Vec<Icrs> any_direction() {
  const double ra = *rc::gen::oneOf(rc::gen::just(0), rc::gen::inRange(0, 36000)) * 0.01;
  const double dec = *rc::gen::oneOf(rc::gen::element(-9000, 9000, -8990, 8990), rc::gen::inRange(-9000, 9001)) * 0.01;
  return icrs_from_equatorial(Angle::deg(ra), Angle::deg(dec));
}

}  // namespace

TEST_CASE("a cone search gives what looking at every star gives") {
  const auto catalogue = Catalogue::open();
  REQUIRE(catalogue);
  std::vector<CatalogueStar> all;
  for (std::uint32_t i = 0; i < catalogue->size(); ++i) all.push_back(catalogue->star(i));
  CHECK(rc::check("cone search", [&] {
    const Vec<Icrs> centre = any_direction();
    const Angle radius = Angle::deg(*rc::gen::element(0.01, 0.3, 2.0, 17.0, 60.0, 91.0, 180.0));
    const double faintest = *rc::gen::inRange(0, 14) + 0.0005;
    std::vector<std::uint32_t> expected;
    for (std::uint32_t i = 0; i < all.size(); ++i)
      if (all[i].v_magnitude <= faintest && angle_between(all[i].direction, centre) <= radius) expected.push_back(i);
    const auto found = catalogue->within(centre, radius, faintest);
    RC_ASSERT(std::is_sorted(found.begin(), found.end(),
                             [&](auto a, auto b) { return all[a].v_magnitude < all[b].v_magnitude; }));
    auto sorted = found;
    std::sort(sorted.begin(), sorted.end());
    const bool same = sorted == expected;
    RC_ASSERT(same);
  }));
}

TEST_CASE("a packed direction is the direction to 0.001 arcseconds") {
  // The step of the octahedron's coordinates is 2⁻³¹; its largest stretch on the sphere is √3, together 2 nrad·√3/2.
  CHECK(rc::check("pack", [] {
    const Vec<Icrs> d = any_direction();
    RC_ASSERT(angle_between(packed::unpack_direction(packed::pack_direction(d)), d).arcsec() < 0.001);
  }));
}

#include "identify/pattern_index.hpp"

#include <catch2/catch.hpp>
#include <cstdlib>
#include <fstream>
#include <iterator>

#include "identify/pattern_build.hpp"

using namespace polewright;

namespace {

struct TemporaryFolder {
  std::filesystem::path path = std::filesystem::temp_directory_path() / "polewright-pattern-test";
  TemporaryFolder() { std::filesystem::create_directories(path); }
  ~TemporaryFolder() { std::filesystem::remove_all(path); }
};

const Catalogue& catalogue() {
  static const Catalogue table = Catalogue::open().value();
  return table;
}

/// Places of four level stars as a fan's code.
FanCode code_of(const PatternLevel& level, const std::array<std::uint32_t, 4>& star) {
  const ShapePlane<Icrs> plane(level.direction(star[0]));
  return fan_code(plane(level.direction(star[1])), plane(level.direction(star[2])), plane(level.direction(star[3])));
}

}  // namespace

TEST_CASE("choices of three neighbours are complete and in the order of distance") {
  for (std::uint32_t n = 3; n <= kMaxNeighbours; ++n)
    for (std::uint32_t c = 0; c < choices_of(n); ++c) {
      const Choice choice = neighbour_choices()[c];
      CHECK(choice.near < choice.middle);
      CHECK(choice.middle < choice.far);
      CHECK(choice.far < n);
    }
  CHECK(choices_of(kMaxNeighbours) == neighbour_choices().size());
}

TEST_CASE("every fan of a star and its three nearest neighbours is found by its shape") {
  const PatternIndex index = PatternIndex::for_catalogue(catalogue());
  REQUIRE(index.levels().size() == 8);
  for (const PatternLevel& level : index.levels()) {
    for (std::uint32_t anchor = 0; anchor < level.size(); anchor += 1 + level.size() / 40) {
      // Neighbours by looking at every star of the level; nearer than 0.08 spacings they do not count.
      std::vector<std::pair<double, std::uint32_t>> near;
      for (std::uint32_t i = 0; i < level.size(); ++i) {
        const double distance = (level.direction(i) - level.direction(anchor)).norm();
        if (i != anchor && distance > 0.08 * level.spacing().rad()) near.emplace_back(distance, i);
      }
      std::partial_sort(near.begin(), near.begin() + 3, near.end());
      const std::array<std::uint32_t, 4> fan{anchor, near[0].second, near[1].second, near[2].second};
      bool found = false;
      level.visit_fans(code_of(level, fan), 0.002, [&](const IndexedFan& f) { found = found || f.star == fan; });
      CHECK(found);
    }
  }
}

TEST_CASE("levels thin out towards wide fields and keep the brightest stars") {
  const PatternIndex index = PatternIndex::for_catalogue(catalogue());
  CHECK(index.levels().front().size() == catalogue().size());
  for (std::size_t i = 1; i < index.levels().size(); ++i)
    CHECK(index.levels()[i].size() < index.levels()[i - 1].size());
  const PatternLevel& widest = index.levels().back();
  const auto sirius =
      catalogue().within(icrs_from_equatorial(Angle::deg(101.29), Angle::deg(-16.72)), Angle::deg(0.1), 0.0);
  REQUIRE(sirius.size() == 1);
  bool there = false;
  widest.visit_stars(catalogue().star(sirius[0]).direction, Angle::deg(1), [&](std::uint32_t s) {
    there = there || widest.catalogue_index(s) == sirius[0];
    return true;
  });
  CHECK(there);
}

TEST_CASE("an index file survives the round trip; damaged and foreign ones are refused and rebuilt") {
  const TemporaryFolder folder;
  const auto path = folder.path / "patterns.bin";
  const PatternIndex index = PatternIndex::for_catalogue(catalogue());
  REQUIRE(index.save(path));
  const auto again = PatternIndex::open(path, catalogue());
  REQUIRE(again);
  CHECK(again->bytes() == index.bytes());
  CHECK(again->levels()[3].fans() == index.levels()[3].fans());

  std::filesystem::resize_file(path, index.bytes() / 2);
  CHECK_FALSE(PatternIndex::open(path, catalogue()));
  std::ofstream(path) << "something else";
  CHECK_FALSE(PatternIndex::open(path, catalogue()));
  CHECK_FALSE(PatternIndex::open(folder.path / "absent", catalogue()));
  CHECK_FALSE(index.save("/proc/nowhere/patterns.bin"));
}

TEST_CASE("a cache holding rubbish is replaced, and no cache at all is no obstacle") {
  const TemporaryFolder folder;
  const char* before = std::getenv("XDG_CACHE_HOME");
  const std::string kept = before != nullptr ? before : "";
  ::setenv("XDG_CACHE_HOME", folder.path.c_str(), 1);
  std::filesystem::create_directories(folder.path / "polewright");
  std::ofstream(folder.path / "polewright" / "patterns.bin") << "rubbish";
  CHECK(PatternIndex::for_catalogue(catalogue()).levels().size() == 8);
  CHECK(PatternIndex::open(folder.path / "polewright" / "patterns.bin", catalogue()).has_value());
  ::setenv("XDG_CACHE_HOME", "/proc/nowhere", 1);
  CHECK(PatternIndex::for_catalogue(catalogue()).levels().size() == 8);
  if (before != nullptr) {
    ::setenv("XDG_CACHE_HOME", kept.c_str(), 1);
  } else {
    ::unsetenv("XDG_CACHE_HOME");
  }
}

#include "polewright/catalogue.hpp"

#include <catch2/catch.hpp>
#include <cstdlib>
#include <fstream>
#include <iterator>
#include <set>

#include "catalogue/packed.hpp"
#include "catalogue/sky_cells.hpp"

using namespace polewright;

namespace {

struct TemporaryFolder {
  std::filesystem::path path = std::filesystem::temp_directory_path() / "polewright-catalogue-test";
  TemporaryFolder() { std::filesystem::create_directories(path); }
  ~TemporaryFolder() { std::filesystem::remove_all(path); }
  std::filesystem::path write(const std::string& name, const std::string& bytes) const {
    std::ofstream(path / name, std::ios::binary) << bytes;
    return path / name;
  }
};

std::string table_bytes() {
  std::ifstream file(POLEWRIGHT_SOURCE_DIR "/src/catalogue/data/stars.bin", std::ios::binary);
  return {std::istreambuf_iterator<char>(file), {}};
}

}  // namespace

TEST_CASE("the table has the stars of the two catalogues' union") {
  const auto catalogue = Catalogue::open();
  REQUIRE(catalogue);
  CHECK(catalogue->size() == 373047);
}

TEST_CASE("counts per magnitude follow the sky") {
  // Cumulative star counts over the whole sky (Allen's Astrophysical Quantities, rounded, from memory): about 15
  // brighter than 1.0, 50 than 2, 170 than 3, 500 than 4, 1600 than 5, 5000 than 6. Catalogues differ by a few per cent
  // in how they count double stars and variable stars, hence the 15 %; small numbers get their square root on top.
  const auto catalogue = Catalogue::open();
  REQUIRE(catalogue);
  const std::vector<std::pair<double, double>> published{{1.0, 15},  {2.0, 50},   {3.0, 170},
                                                         {4.0, 510}, {5.0, 1610}, {6.0, 4980}};
  for (const auto& [limit, count] : published) {
    const auto found = static_cast<double>(catalogue->within({0, 0, 1}, Angle::deg(180), limit).size());
    CHECK(found == Approx(count).margin(0.15 * count + std::sqrt(count)));
  }
}

TEST_CASE("names") {
  const auto catalogue = Catalogue::open();
  REQUIRE(catalogue);
  const auto brightest =
      catalogue->within(icrs_from_equatorial(Angle::deg(101.287), Angle::deg(-16.716)), Angle::deg(1), 3);
  REQUIRE(brightest.size() == 1);
  CHECK(std::string(catalogue->name(brightest[0])) == "Sirius");
  const auto north = catalogue->within({0, 0, 1}, Angle::deg(1), 3);
  REQUIRE(north.size() == 1);
  CHECK(std::string(catalogue->name(north[0])) == "Polaris");
  CHECK(catalogue->star(north[0]).has_proper_motion);
  const auto faint = catalogue->within({0, 0, 1}, Angle::deg(1), 20);
  CHECK(std::string(catalogue->name(faint.back())).empty());
}

TEST_CASE("a table in the data folder of the environment is preferred") {
  const TemporaryFolder folder;
  folder.write("stars.bin", "not a table");
  ::setenv("POLEWRIGHT_DATA", folder.path.c_str(), 1);
  const auto catalogue = Catalogue::open();
  ::unsetenv("POLEWRIGHT_DATA");
  REQUIRE_FALSE(catalogue);
  CHECK(catalogue.error().code == ErrorCode::format_unknown);
  CHECK(catalogue.error().file == (folder.path / "stars.bin").string());
}

TEST_CASE("missing, foreign, truncated, damaged and future tables are refused with a reason") {
  const TemporaryFolder folder;
  const std::string good = table_bytes();
  REQUIRE(good.size() > 1'000'000);
  const auto code_of = [](const std::filesystem::path& path) {
    const auto catalogue = Catalogue::open(path);
    REQUIRE_FALSE(catalogue);
    CHECK_FALSE(catalogue.error().message().empty());
    return catalogue.error().code;
  };
  CHECK(code_of(folder.path / "absent.bin") == ErrorCode::catalogue_missing);
  CHECK(code_of(folder.path) == ErrorCode::catalogue_missing);
  CHECK(code_of(folder.write("empty", "")) == ErrorCode::catalogue_missing);
  CHECK(code_of(folder.write("foreign", std::string(10000, 'x'))) == ErrorCode::format_unknown);
  CHECK(code_of(folder.write("header", good.substr(0, 39))) == ErrorCode::format_unknown);
  for (const std::size_t size : {std::size_t{40}, std::size_t{5000}, good.size() / 2, good.size() - 1})
    CHECK(code_of(folder.write("short", good.substr(0, size))) == ErrorCode::file_truncated);
  std::string damaged = good;
  damaged[good.size() / 2] = static_cast<char>(damaged[good.size() / 2] ^ 1);
  CHECK(code_of(folder.write("damaged", damaged)) == ErrorCode::file_unreadable);
  std::string future = good;
  future[8] = 99;
  CHECK(code_of(folder.write("future", future)) == ErrorCode::file_unsupported);
  std::string bands = good;
  bands[12] = bands[13] = bands[14] = bands[15] = '\xff';
  CHECK(code_of(folder.write("bands", bands)) == ErrorCode::format_unknown);
}

TEST_CASE("cells cover the sky once, and a cone at the pole reaches every right ascension") {
  const SkyCells cells(60);
  CHECK(cells.cell_of({0, 0, -1}) == 0);
  CHECK(cells.cell_of({0, 0, 1}) == cells.count() - 1 - 2);  // three cells in the last band, right ascension 0 first
  std::set<std::uint32_t> visited;
  cells.visit_cone({0, 0, 1}, Angle::deg(2), [&](std::uint32_t a, std::uint32_t b) {
    for (; a < b; ++a) visited.insert(a);
  });
  CHECK(visited.size() == 3);
  visited.clear();
  cells.visit_cone({1, 0, 0}, Angle::deg(180), [&](std::uint32_t a, std::uint32_t b) {
    for (; a < b; ++a) CHECK(visited.insert(a).second);
  });
  CHECK(visited.size() == cells.count());
}

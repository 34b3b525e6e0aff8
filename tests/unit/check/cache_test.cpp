#include <catch2/catch.hpp>
#include <fstream>
#include <random>

#include "session/night_cache.hpp"
#include "session/night_hash.hpp"
#include "support/program.hpp"

using namespace polewright;
using namespace polewright::session;
namespace fs = std::filesystem;

namespace {

FrameRecord sample(float x) {
  FrameRecord r;
  r.metadata.camera = "Lanternworks Field 24";
  r.metadata.exposure_s = {60.0, "FITS EXPTIME"};
  r.metadata.mid_time = {UtcTime::from_unix_us(1786000000123456), "FITS DATE-AVG"};
  r.metadata.site = {Site{Angle::deg(46), Angle::deg(10), 1500}, "FITS SITELAT"};
  r.metadata.pointing = PointingHint{{0, 1, 0}, "FITS RA"};
  r.metadata.warnings = {"two headers disagree"};
  r.width = 1500;
  r.height = 1000;
  r.stars_usable = 2;
  r.fwhm_px = 2.4;
  r.field.worst_trail_px = 0.7;
  r.flags = {"jpeg"};
  r.stars = {{x, 2, 0.01f, 0, 0.01f, 900, 9, 80, 1, 0, 1, 2.4f, 0, 0, 0},
             {30, 40, 0.02f, 0, 0.02f, 400, 9, 30, 1, 0, 1, 2.4f, 0, 0, 3}};
  return r;
}

void write(const fs::path& file, const std::string& text) {
  std::ofstream(file, std::ios::binary) << text;
}

}  // namespace

TEST_CASE("records survive packing, and damage is noticed") {
  const FrameRecord r = sample(1.5f);
  const std::string bytes = pack(r);
  const auto back = unpack(bytes);
  REQUIRE(back);
  CHECK(pack(*back) == bytes);
  CHECK(back->metadata.mid_time->value == r.metadata.mid_time->value);
  CHECK(back->metadata.pointing->source == "FITS RA");
  CHECK(back->metadata.warnings == r.metadata.warnings);
  CHECK(back->stars.size() == 2);
  CHECK(back->stars[0].x == 1.5f);
  CHECK_FALSE(back->metadata.focal_length_mm);

  std::mt19937 engine(3);
  for (int i = 0; i < 300; ++i) {
    std::string damaged = bytes;
    damaged[engine() % damaged.size()] ^= static_cast<char>(1 + engine() % 255);
    CHECK_FALSE(unpack(damaged));
  }
  for (std::size_t n = 0; n < bytes.size(); n += 7) CHECK_FALSE(unpack(bytes.substr(0, n)));
}

TEST_CASE("hash depends on every byte") {
  const std::string text(100, 'a');
  const std::uint64_t whole = hash_bytes(text);
  for (std::size_t i = 0; i < text.size(); ++i) {
    std::string other = text;
    other[i] = 'b';
    CHECK(hash_bytes(other) != whole);
  }
  CHECK(hash_bytes(text.substr(1)) != whole);
}

TEST_CASE("the cache finds by place and time, and by content") {
  const fs::path folder = test::scratch_folder("cache");
  write(folder / "one.fits", "first content");
  {
    NightCache cache(folder / "c/frames.sqlite");
    CHECK(cache.warnings().empty());
    CHECK_FALSE(cache.find(folder / "one.fits"));
    cache.keep(folder / "one.fits", sample(1.0f));
    REQUIRE(cache.find(folder / "one.fits"));
  }
  NightCache cache(folder / "c/frames.sqlite");
  REQUIRE(cache.find(folder / "one.fits"));
  fs::rename(folder / "one.fits", folder / "moved.fits");
  REQUIRE(cache.find(folder / "moved.fits"));
  CHECK(cache.find(folder / "moved.fits")->stars[0].x == 1.0f);
  write(folder / "moved.fits", "other content");
  CHECK_FALSE(cache.find(folder / "moved.fits"));
  CHECK(cache.warnings().empty());
}

TEST_CASE("a damaged cache is made anew with a warning") {
  const fs::path folder = test::scratch_folder("damaged"), file = folder / "frames.sqlite";
  write(folder / "one.fits", "content");
  const auto damage = [&](const std::string& how) {
    if (how == "not a database")
      write(file,
            "this was never a database, whatever its name says, and it is long enough to have a header of some "
            "kind......");
    if (how == "torn") {
      NightCache(file).keep(folder / "one.fits", sample(1.0f));
      std::fstream out(file, std::ios::in | std::ios::out | std::ios::binary);
      out.seekp(100);
      out << std::string(6000, '\x5a');
    }
    if (how == "cut short") {
      NightCache(file).keep(folder / "one.fits", sample(1.0f));
      fs::resize_file(file, fs::file_size(file) / 3);
    }
  };
  for (const std::string how : {"not a database", "torn", "cut short"}) {
    INFO(how);
    fs::remove(file);
    damage(how);
    NightCache cache(file);
    (void)cache.find(folder / "one.fits");
    cache.keep(folder / "one.fits", sample(2.0f));
    cache.keep(folder / "one.fits", sample(2.0f));
    REQUIRE(cache.find(folder / "one.fits"));
    CHECK(cache.find(folder / "one.fits")->stars[0].x == 2.0f);
    REQUIRE_FALSE(cache.warnings().empty());
    CHECK(cache.warnings()[0].find("made anew") != std::string::npos);
  }
}

TEST_CASE("a place that cannot be written costs the memory, not the run") {
  NightCache cache("/proc/no/such/frames.sqlite");
  const fs::path folder = test::scratch_folder("nocache");
  write(folder / "one.fits", "content");
  cache.keep(folder / "one.fits", sample(1.0f));
  CHECK_FALSE(cache.find(folder / "one.fits"));
  REQUIRE(cache.warnings().size() == 1);
  CHECK(cache.warnings()[0].find("not be remembered") != std::string::npos);
}

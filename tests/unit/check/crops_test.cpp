// The crops that `check --report` shows are cut while a frame is measured and remembered with it.
#include <sqlite3.h>

#include <catch2/catch.hpp>
#include <fstream>
#include <random>

#include "polewright/night.hpp"
#include "report/jpeg.hpp"
#include "session/night_cache.hpp"
#include "session/page_pictures.hpp"
#include "simulate/simulate.hpp"
#include "support/program.hpp"

using namespace polewright;
namespace fs = std::filesystem;

namespace {

/// Noise and thirty round stars, other ones in each frame: enough to be measured, nothing that could be identified.
Frame frame_of(unsigned seed) {
  std::mt19937 random(seed);
  std::normal_distribution<double> noise(1000.0, 12.0);
  std::uniform_int_distribution<int> x(10, 389), y(10, 289);
  Frame f;
  f.width = 400;
  f.height = 300;
  std::vector<double> light(400 * 300);
  for (double& v : light) v = noise(random);
  for (int star = 0; star < 30; ++star)
    for (int u = x(random), v = y(random), dy = -6; dy <= 6; ++dy)
      for (int dx = -6; dx <= 6; ++dx)
        light[static_cast<std::size_t>((v + dy) * 400 + u + dx)] += 4000.0 * std::exp(-(dx * dx + dy * dy) / 4.0);
  for (const double v : light) f.pixels.push_back(static_cast<std::uint16_t>(std::max(0.0, v)));
  return f;
}

struct Night {
  fs::path folder, cache;
};

Night night(const std::string& name, unsigned frames = 3) {
  const fs::path home = test::scratch_folder(name);
  fs::create_directories(home / "n");
  for (unsigned i = 1; i <= frames; ++i)
    REQUIRE_FALSE(simulate::write_fits(home / "n" / ("f_" + std::to_string(i) + ".fits"), frame_of(i)));
  return {home / "n", home / "frames.sqlite"};
}

CheckReport run(const Night& night, bool pictures, bool use_cache = true) {
  CheckOptions options;
  options.session.pictures = pictures;
  options.session.threads = 2;
  options.session.catalogue = "/no/star/table";  // nothing to identify here
  options.cache_file = night.cache;
  options.use_cache = use_cache;
  return check({night.folder}, options).value();
}

std::vector<std::string> crops(const CheckReport& report) {
  REQUIRE(report.evidence);
  REQUIRE(report.evidence->crops.size() == report.frames.size());
  for (const std::string& strip : report.evidence->crops)
    CHECK(report::picture_in(strip).height_px == report.evidence->crop_px);
  return report.evidence->crops;
}

/// Other pixels under the same size and time of change, by which the cache knows a file: only who reads them notices.
void overwrite_pixels(const Night& night) {
  for (const auto& entry : fs::directory_iterator(night.folder)) {
    const auto time = fs::last_write_time(entry);
    std::fstream file(entry.path(), std::ios::in | std::ios::out | std::ios::binary);
    file.seekp(2 * 2880);  // FITS Standard 4.0, 3.1: blocks of 2880 bytes; the headers here take one or two
    file << std::string(100000, '\x11');
    file.close();
    fs::last_write_time(entry, time);
  }
}

void sql(const fs::path& file, const char* statement) {
  sqlite3* db = nullptr;
  REQUIRE(::sqlite3_open(file.c_str(), &db) == SQLITE_OK);
  CHECK(::sqlite3_exec(db, statement, nullptr, nullptr, nullptr) == SQLITE_OK);
  ::sqlite3_close(db);
}

}  // namespace

TEST_CASE("crops are those of the pixels, each frame with its own") {
  const Night n = night("crops_own");
  const CheckReport report = run(n, true);
  const auto strips = crops(report);
  REQUIRE(strips.size() == 3);
  for (std::size_t i = 0; i < 3; ++i) {
    const auto frame = read_frame(report.frames[i].file);
    REQUIRE(frame.ok());
    CHECK(strips[i] == report::jpeg_of(session::crop_strip(*frame, session::crop_side_px(3))));
  }
  CHECK(crops(run(n, true, false)) == strips);  // the same without a cache
}

TEST_CASE("the second run with pictures reads no pixels") {
  const Night n = night("crops_second");
  const auto first = crops(run(n, true));
  overwrite_pixels(n);
  const CheckReport again = run(n, true);
  CHECK(again.remembered == 3);
  CHECK(crops(again) == first);
  CHECK(crops(run(n, true, false)) != first);  // who reads them does notice
}

TEST_CASE("frames measured without pictures are read once more, and then remembered") {
  const Night n = night("crops_later");
  CHECK_FALSE(run(n, false).evidence);
  const CheckReport later = run(n, true);
  CHECK(later.remembered == 3);
  const auto strips = crops(later);
  overwrite_pixels(n);
  CHECK(crops(run(n, true)) == strips);
}

TEST_CASE("damaged crops are cut anew") {
  const Night n = night("crops_damaged");
  const auto strips = crops(run(n, true));
  for (const char* damage :
       {"UPDATE crops SET strip = zeroblob(5)", "UPDATE crops SET strip = x''", "UPDATE crops SET strip = NULL",
        "UPDATE crops SET strip = CAST(substr(strip, 1, length(strip) / 2) AS BLOB)",
        "UPDATE crops SET strip = CAST(zeroblob(40) || substr(strip, 41) AS BLOB)", "DELETE FROM crops",
        "UPDATE crops SET version = 'older'", "DROP TABLE crops",
        "DROP TABLE crops; CREATE TABLE crops(something TEXT)"}) {
    INFO(damage);
    sql(n.cache, damage);
    CHECK(crops(run(n, true)) == strips);
    CHECK(crops(run(n, true)) == strips);
  }
}

TEST_CASE("a night that grows shows smaller squares, cut from the pixels") {
  const Night n = night("crops_grown");
  session::NightCache cache(n.cache);
  (void)run(n, true);
  const fs::path file = n.folder / "f_1.fits";
  CHECK(cache.crops(file, session::crop_side_px(3)));
  CHECK_FALSE(cache.crops(file, session::crop_side_px(200)));
  CHECK(session::crop_side_px(200) < session::crop_side_px(3));
  std::ofstream(file, std::ios::app) << " ";  // another file now
  CHECK_FALSE(cache.crops(file, session::crop_side_px(3)));
}

TEST_CASE("a frame that vanished between measuring and cutting has no crops") {
  session::NightCache none;
  CHECK_FALSE(none.crops("/nowhere/f.fits", 104));
  none.keep_crops("/nowhere/f.fits", 104, "x");
  const Night n = night("crops_broken", 2);
  fs::resize_file(n.folder / "f_2.fits", 6000);
  const CheckReport report = run(n, true);
  REQUIRE(report.evidence->crops.size() == 2);
  CHECK_FALSE(report.evidence->crops[0].empty());
  CHECK(report.evidence->crops[1].empty() == !report.frames[1].readable);
}

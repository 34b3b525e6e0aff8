// Pixels of FITS files: values are checked against what the FITS standard 4.0 (section 4.4.2.5, physical value = BZERO
// + BSCALE × stored value) says of the numbers the test chose. cfitsio, an independent library, writes the files.
#include <catch2/catch.hpp>
#include <cmath>
#include <limits>
#include <random>

#include "polewright/frame.hpp"
#include "scratch.hpp"
#include "writers/fits_file.hpp"

using namespace polewright;
using namespace polewright::test;

namespace {

FitsFile ramp(int bitpix, double first, double step) {
  FitsFile f;
  f.bitpix = bitpix;
  for (long i = 0; i < f.width * f.height; ++i) f.physical.push_back(first + step * static_cast<double>(i));
  return f;
}

Frame read(const FitsFile& file, const Scratch& scratch, const ReadOptions& options = {}) {
  const auto path = scratch / "frame.fits";
  write_fits(path, file);
  const auto frame = read_frame(path, options);
  INFO((frame.ok() ? std::string() : frame.error().message()));
  REQUIRE(frame.ok());
  return *frame;
}

double physical(const Frame& f, std::size_t i) {
  return f.zero + f.scale * f.pixels[i];
}

}  // namespace

TEST_CASE("every BITPIX gives its physical values back") {
  const Scratch scratch;
  struct Case {
    int bitpix;
    double bzero, bscale, first, step;
    bool exact;
  };
  const auto c =
      GENERATE(Case{8, 0, 1, 3, 1, true}, Case{8, -128, 1, -100, 1, true}, Case{16, 0, 1, -5000, 37, true},
               Case{16, 32768, 1, 100, 330, true}, Case{16, 10, 0.5, 20, 1.5, true}, Case{16, 0, -1, 20, 30, true},
               Case{32, 0, 1, 1000, 100, true}, Case{32, 2147483648.0, 1, 3e9, 12, true}, Case{64, 0, 1, 500, 3, true},
               Case{-32, 0, 1, 0.25, 0.125, false}, Case{-64, 0, 1, -3.5, 0.37, false});
  const bool compressed = GENERATE(false, true);
  const bool in_extension = GENERATE(false, true);
  if (compressed && (c.bitpix == 64 || c.bitpix == -64)) return;  // the convention's tools leave these uncompressed
  FitsFile file = ramp(c.bitpix, c.first, c.step);
  file.bzero = c.bzero;
  file.bscale = c.bscale;
  file.compressed = compressed;
  file.in_extension = in_extension;
  CAPTURE(c.bitpix, c.bzero, c.bscale, compressed, in_extension);
  const Frame f = read(file, scratch);
  REQUIRE(f.kind == FileKind::fits);
  REQUIRE(f.width == file.width);
  REQUIRE(f.height == file.height);
  REQUIRE(f.pixels.size() == file.physical.size());
  // Whole numbers are kept exactly; the rest is rounded to a step, so by at most half of one.
  const double tolerance = c.exact ? 1e-9 : 0.5001 * f.scale;
  for (std::size_t i = 0; i < f.pixels.size(); ++i) CHECK(std::abs(physical(f, i) - file.physical[i]) <= tolerance);
  CHECK(f.blank.empty());
}

TEST_CASE("unsigned 16-bit samples arrive as they are stored") {
  const Scratch scratch;
  FitsFile file = ramp(16, 0, 1);
  file.bzero = 32768;
  file.physical.front() = 0;
  file.physical.back() = 65535;
  const Frame f = read(file, scratch);
  CHECK(f.zero == 0.0);
  CHECK(f.scale == 1.0);
  CHECK(f.pixels.front() == 0);
  CHECK(f.pixels.back() == 65535);
  CHECK(f.white_level == 65535.0);
  CHECK(f.black_level[0] == 0.0);
}

TEST_CASE("rows stay in the file's order and the first stored pixel is (0, 0)") {
  const Scratch scratch;
  const Frame f = read(ramp(16, 0, 1), scratch);
  CHECK(f.zero + f.at(0, 0) == 0.0);
  CHECK(f.zero + f.at(1, 0) == 1.0);
  CHECK(f.zero + f.at(0, 1) == 16.0);
}

TEST_CASE("blank and NaN pixels are listed") {
  const Scratch scratch;
  const double nan = std::numeric_limits<double>::quiet_NaN();
  const int bitpix = GENERATE(8, 16, 32, -32, -64);
  const bool compressed = GENERATE(false, true);
  if (compressed && bitpix == -64) return;
  FitsFile file = ramp(bitpix, 1, 1);
  file.physical[5] = file.physical[77] = nan;
  file.has_blank = bitpix > 0;
  file.blank = bitpix == 8 ? 255 : -999;
  file.compressed = compressed;
  CAPTURE(bitpix, compressed);
  const Frame f = read(file, scratch);
  CHECK(f.blank == std::vector<std::uint32_t>{5, 77});
  CHECK(physical(f, 6) == Approx(7.0));
}

TEST_CASE("a frame of NaN alone is read, all blank") {
  const Scratch scratch;
  FitsFile file = ramp(-32, 0, 0);
  for (double& v : file.physical) v = std::numeric_limits<double>::quiet_NaN();
  CHECK(read(file, scratch).blank.size() == 192);
}

TEST_CASE("rounding of real-valued frames stays below a tenth of the noise") {
  const Scratch scratch;
  FitsFile file;
  file.bitpix = -32;
  file.width = 200;
  file.height = 150;
  std::mt19937 random(7);
  std::normal_distribution<double> noise(0.1, 1e-4);
  for (int i = 0; i < 200 * 150; ++i) file.physical.push_back(static_cast<float>(noise(random)));
  SECTION("stars up to full scale") {
    file.physical[1234] = 1.0;
    const Frame f = read(file, scratch);
    double sum = 0;
    for (std::size_t i = 0; i < f.pixels.size(); ++i) sum += std::pow(physical(f, i) - file.physical[i], 2);
    CHECK(std::sqrt(sum / 30000) < 0.1 * 1e-4);
    CHECK(physical(f, 1234) == Approx(1.0).epsilon(1e-4));
  }
  SECTION("a range wider than 16 bits at that step is clipped, and said so") {
    file.physical[1234] = 1000.0;
    const Frame f = read(file, scratch);
    CHECK(f.pixels[1234] == 65535);
    CHECK(f.metadata.warnings.size() >= 1);
    CHECK(std::abs(physical(f, 99) - file.physical[99]) < 0.5001 * f.scale);
    // The noise estimate scatters by about 1 % on 30 000 pixels; 0.34 of the true noise plus 10 % is ample.
    CHECK(f.scale < 0.34 * 1.1e-4);
  }
}

TEST_CASE("three planes are averaged") {
  const Scratch scratch;
  FitsFile file;
  const int bitpix = GENERATE(8, 16, -32);
  file.bitpix = bitpix;
  file.planes = 3;
  for (int plane = 0; plane < 3; ++plane)
    for (long i = 0; i < file.width * file.height; ++i)
      file.physical.push_back(10.0 * plane + static_cast<double>(i % 100));
  const Frame f = read(file, scratch);
  CHECK(f.planes_combined == 3);
  REQUIRE(f.pixels.size() == 192);
  // A mean of three whole numbers has thirds; the step is far finer than those.
  for (std::size_t i = 0; i < 192; ++i)
    CHECK(physical(f, i) == Approx(10.0 + static_cast<double>(i % 100)).margin(0.01));
}

TEST_CASE("a cube that is no colour picture is refused") {
  const Scratch scratch;
  FitsFile file;
  file.planes = 5;
  file.physical.assign(16 * 12 * 5, 1.0);
  write_fits(scratch / "cube.fits", file);
  const auto frame = read_frame(scratch / "cube.fits");
  REQUIRE_FALSE(frame.ok());
  CHECK(frame.error().code == ErrorCode::file_unsupported);
}

TEST_CASE("BAYERPAT with offsets and row order (common practice, no source)") {
  const Scratch scratch;
  FitsFile file = ramp(16, 0, 1);
  file.cards = {{"BAYERPAT", "'RGGB'"}};
  using enum FilterColour;
  SECTION("as it stands") {
    CHECK(read(file, scratch).mosaic.colour == std::array{red, green, green, blue});
  }
  SECTION("x offset") {
    file.cards.push_back({"XBAYROFF", "1"});
    CHECK(read(file, scratch).mosaic.colour == std::array{green, red, blue, green});
  }
  SECTION("both offsets") {
    file.cards.push_back({"XBAYROFF", "1"});
    file.cards.push_back({"YBAYROFF", "1"});
    CHECK(read(file, scratch).mosaic.colour == std::array{blue, green, green, red});
  }
  SECTION("bottom-up, even height: the last stored row is the pattern's first") {
    file.cards.push_back({"ROWORDER", "'BOTTOM-UP'"});
    const Frame f = read(file, scratch);
    CHECK(f.mosaic.at(0, f.height - 1) == red);
    CHECK(f.mosaic.at(1, f.height - 2) == blue);
    CHECK(f.metadata.warnings.size() == 1);
  }
  SECTION("unknown pattern") {
    file.cards = {{"BAYERPAT", "'CMYG'"}};
    const Frame f = read(file, scratch);
    CHECK_FALSE(f.mosaic.is_colour());
    CHECK(f.metadata.warnings.size() == 1);
  }
}

TEST_CASE("white level: header, then clipping seen in the samples, then the type") {
  const Scratch scratch;
  FitsFile file = ramp(16, 1000, 1);
  file.bzero = 32768;
  SECTION("type") {
    CHECK(read(file, scratch).white_level == 65535.0);
  }
  SECTION("header") {
    file.cards = {{"SATURATE", "16000"}};
    CHECK(read(file, scratch).white_level == 16000.0);
  }
  SECTION("twelve stars of one pixel, all at 4095") {
    for (std::size_t i = 0; i < 12; ++i) file.physical[i * 15] = 4095;
    CHECK(read(file, scratch).white_level == 4095.0);
  }
  SECTION("8 bits") {
    CHECK(read(ramp(8, 0, 1), scratch).white_level == 255.0);
  }
}

TEST_CASE("metadata only: size and header without pixels") {
  const Scratch scratch;
  FitsFile file = ramp(16, 0, 1);
  file.cards = {{"EXPTIME", "30.0"}};
  ReadOptions options;
  options.metadata_only = true;
  const Frame f = read(file, scratch, options);
  CHECK(f.pixels.empty());
  CHECK(f.width == 16);
  CHECK(f.metadata.exposure_s->value == 30.0);
}

// Files as others read them: LibRaw and Exiv2 open the camera raw, cfitsio the FITS.
#include <fitsio.h>
#include <libraw/libraw.h>

#include <catch2/catch.hpp>
#include <exiv2/exiv2.hpp>
#include <filesystem>
#include <numeric>

#include "simulate/simulate.hpp"

using namespace polewright;
using namespace polewright::simulate;

namespace {

constexpr Mosaic kRggb{{FilterColour::red, FilterColour::green, FilterColour::green, FilterColour::blue}};

RenderedFrame small_colour_frame() {
  Scene scene;
  scene.site = {Angle::deg(-33.2), Angle::deg(-70.5), 2200.0};
  scene.first_start = UtcTime::from_calendar({2026, 3, 14, 23, 58, 7.25});
  scene.lens.width_px = 320;
  scene.lens.height_px = 214;
  scene.lens.focal_mm = 35.0;
  RenderOptions options;
  options.detector.mosaic = kRggb;
  options.detector.black_adu = {500, 512, 513, 520};
  return render_frame(scene, random_stars(scene, 11.0, 3), 0, options);
}

std::filesystem::path scratch(const char* name) {
  return std::filesystem::temp_directory_path() / name;
}

std::uint64_t sum_of(const std::uint16_t* data, std::size_t n) {
  return std::accumulate(data, data + n, std::uint64_t{0});
}

}  // namespace

TEST_CASE("LibRaw finds every sample of the raw, plain and compressed", "[reference]") {
  const RenderedFrame rendered = small_colour_frame();
  const Frame& frame = rendered.frame;
  for (const bool compressed : {false, true}) {
    const auto path = scratch(compressed ? "simulate_ljpeg.dng" : "simulate_plain.dng");
    DngOptions options;
    options.zone_offset_s = -3 * 3600;
    options.lossless_jpeg = compressed;
    REQUIRE_FALSE(write_dng(path, frame, options));
    LibRaw raw;
    REQUIRE(raw.open_file(path.c_str()) == LIBRAW_SUCCESS);
    REQUIRE(raw.unpack() == LIBRAW_SUCCESS);
    REQUIRE(raw.imgdata.sizes.raw_width == frame.width);
    REQUIRE(raw.imgdata.sizes.raw_height == frame.height);
    const std::uint16_t* samples = raw.imgdata.rawdata.raw_image;
    REQUIRE(samples != nullptr);
    CHECK(sum_of(samples, frame.pixels.size()) == sum_of(frame.pixels.data(), frame.pixels.size()));
    CHECK(std::equal(frame.pixels.begin(), frame.pixels.end(), samples));
    CHECK(raw.imgdata.color.maximum == static_cast<unsigned>(frame.white_level));
    for (unsigned i = 0; i < 4; ++i) {
      const unsigned black = raw.imgdata.color.black + raw.imgdata.color.cblack[6 + i];
      CHECK(black == static_cast<unsigned>(frame.black_level[i]));
      CHECK(raw.COLOR(static_cast<int>(i / 2), static_cast<int>(i % 2)) == (i == 0 ? 0 : i == 3 ? 2 : i == 1 ? 1 : 3));
    }
    CHECK(raw.imgdata.other.shutter == Approx(30.0));
    CHECK(raw.imgdata.other.focal_len == Approx(35.0));
    raw.recycle();
    std::filesystem::remove(path);
  }
}

TEST_CASE("Exiv2 reads the raw's metadata as written", "[reference]") {
  const RenderedFrame rendered = small_colour_frame();
  const auto path = scratch("simulate_exif.dng");
  DngOptions options;
  options.zone_offset_s = -3 * 3600;
  REQUIRE_FALSE(write_dng(path, rendered.frame, options));
  const auto image = Exiv2::ImageFactory::open(path.string());
  image->readMetadata();
  const Exiv2::ExifData& exif = image->exifData();
  const auto text = [&](const char* key) {
    const auto found = exif.findKey(Exiv2::ExifKey(key));
    return found == exif.end() ? std::string("absent") : found->toString();
  };
  const auto number = [&](const char* key) {
    const auto found = exif.findKey(Exiv2::ExifKey(key));
    return found == exif.end() ? -1.0F : found->toFloat();
  };
  CHECK(text("Exif.Photo.DateTimeOriginal") == "2026:03:14 20:58:07");
  CHECK(text("Exif.Photo.SubSecTimeOriginal") == "250");
  CHECK(text("Exif.Photo.OffsetTimeOriginal") == "-03:00");
  CHECK(number("Exif.Photo.ExposureTime") == Approx(30.0));
  CHECK(number("Exif.Photo.FocalLength") == Approx(35.0));
  CHECK(number("Exif.Photo.FocalPlaneXResolution") == Approx(10000.0 / 3.9));
  CHECK(text("Exif.Photo.FocalPlaneResolutionUnit") == "3");
  CHECK(text("Exif.GPSInfo.GPSLatitudeRef") == "S");
  CHECK(text("Exif.GPSInfo.GPSLongitudeRef") == "W");
  CHECK(text("Exif.GPSInfo.GPSDateStamp") == "2026:03:14");
  std::filesystem::remove(path);
}

TEST_CASE("cfitsio reads the FITS back, plain and compressed", "[reference]") {
  const RenderedFrame rendered = small_colour_frame();
  for (const FitsCompression kind : {FitsCompression::none, FitsCompression::rice, FitsCompression::gzip}) {
    const auto path = scratch("simulate_back.fits");
    REQUIRE_FALSE(write_fits(path, rendered.frame, kind));
    fitsfile* file = nullptr;
    int status = 0, nulls = 0;
    fits_open_image(&file, path.c_str(), READONLY, &status);
    std::vector<std::uint16_t> back(rendered.frame.pixels.size());
    fits_read_img(file, TUSHORT, 1, static_cast<LONGLONG>(back.size()), nullptr, back.data(), &nulls, &status);
    char text[FLEN_VALUE] = {};
    double exposure = 0.0, latitude = 0.0;
    fits_read_key(file, TSTRING, "DATE-OBS", text, nullptr, &status);
    fits_read_key(file, TDOUBLE, "EXPTIME", &exposure, nullptr, &status);
    fits_read_key(file, TDOUBLE, "SITELAT", &latitude, nullptr, &status);
    CHECK(std::string(text) == "2026-03-14T23:58:07.250");
    fits_read_key(file, TSTRING, "BAYERPAT", text, nullptr, &status);
    fits_close_file(file, &status);
    REQUIRE(status == 0);
    CHECK(std::string(text) == "RGGB");
    CHECK(exposure == 30.0);
    CHECK(latitude == Approx(-33.2));
    CHECK(back == rendered.frame.pixels);
    std::filesystem::remove(path);
  }
}

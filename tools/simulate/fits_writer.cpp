#include <fitsio.h>
#include <fmt/format.h>

#include <cmath>

#include "simulate/simulate.hpp"

namespace polewright::simulate {
namespace {

/// cfitsio's sticky status: calls after a failure do nothing, so one look at the end suffices.
class FitsFile {
 public:
  explicit FitsFile(const std::string& path) { fits_create_file(&file_, ("!" + path).c_str(), &status_); }
  ~FitsFile() {
    int ignored = 0;
    if (file_ != nullptr) fits_close_file(file_, &ignored);
  }
  FitsFile(const FitsFile&) = delete;
  FitsFile& operator=(const FitsFile&) = delete;

  void image(const Frame& frame, FitsCompression compression) {
    if (compression == FitsCompression::rice) fits_set_compression_type(file_, RICE_1, &status_);
    if (compression == FitsCompression::gzip) fits_set_compression_type(file_, GZIP_1, &status_);
    long size[2] = {frame.width, frame.height};
    fits_create_img(file_, USHORT_IMG, 2, size, &status_);
  }
  void samples(const Frame& frame) {
    auto* data = const_cast<std::uint16_t*>(frame.pixels.data());  // cfitsio only reads
    fits_write_img(file_, TUSHORT, 1, static_cast<LONGLONG>(frame.pixels.size()), data, &status_);
  }
  void key(const char* name, const std::string& value, const char* comment) {
    fits_update_key_str(file_, name, value.c_str(), comment, &status_);
  }
  void key(const char* name, double value, int decimals, const char* comment) {
    fits_update_key_fixdbl(file_, name, value, decimals, comment, &status_);
  }
  void close() {
    fits_close_file(file_, &status_);
    file_ = nullptr;
  }
  [[nodiscard]] std::optional<std::string> failure() const {
    if (status_ == 0) return std::nullopt;
    char text[FLEN_STATUS] = {};
    fits_get_errstatus(status_, text);
    return text;
  }

 private:
  fitsfile* file_ = nullptr;
  int status_ = 0;
};

std::string pattern_name(const Mosaic& mosaic) {
  std::string name;
  for (const FilterColour c : mosaic.colour) name += c == FilterColour::red ? 'R' : c == FilterColour::blue ? 'B' : 'G';
  return name;
}

/// FITS time: ISO 8601 without the Z.
std::string fits_time(UtcTime time) {
  std::string text = time.iso();
  text.pop_back();
  return text;
}

void write_keys(FitsFile& file, const Frame& frame) {
  const FrameMetadata& m = frame.metadata;
  if (m.exposure_s) {
    file.key("EXPTIME", m.exposure_s->value, 3, "[s] exposure");
    file.key("XPOSURE", m.exposure_s->value, 3, "[s] exposure");
  }
  if (m.mid_time && m.exposure_s) {
    const double half = 0.5 * m.exposure_s->value;
    file.key("TIMESYS", std::string("UTC"), "time scale");
    file.key("DATE-OBS", fits_time(m.mid_time->value.plus_seconds(-half)), "shutter opens");
    file.key("DATE-AVG", fits_time(m.mid_time->value), "middle of the exposure");
    file.key("DATE-END", fits_time(m.mid_time->value.plus_seconds(half)), "shutter closes");
  }
  if (m.site) {
    file.key("SITELAT", m.site->value.latitude.deg(), 6, "[deg] latitude, north positive");
    file.key("SITELONG", m.site->value.longitude.deg(), 6, "[deg] longitude, east positive");
    file.key("SITEELEV", m.site->value.height_m, 1, "[m] height");
  }
  if (m.focal_length_mm) file.key("FOCALLEN", m.focal_length_mm->value, 2, "[mm] focal length");
  if (m.pixel_pitch_um) {
    file.key("XPIXSZ", m.pixel_pitch_um->value, 4, "[um] pixel width");
    file.key("YPIXSZ", m.pixel_pitch_um->value, 4, "[um] pixel height");
  }
  if (!m.camera.empty()) file.key("INSTRUME", m.camera, "camera");
  if (!m.object.empty()) file.key("OBJECT", m.object, "");
  file.key("DATAMAX", frame.white_level, 0, "[adu] saturation");
  file.key("PEDESTAL", frame.black_level[0], 0, "[adu] black level included");
  if (frame.mosaic.is_colour())
    file.key("BAYERPAT", pattern_name(frame.mosaic), "filters of the first stored 2x2 pixels");
  file.key("ROWORDER", std::string("TOP-DOWN"), "first stored row is the top");
}

}  // namespace

Status write_fits(const std::filesystem::path& path, const Frame& frame, FitsCompression compression) {
  FitsFile file(path.string());
  file.image(frame, compression);
  write_keys(file, frame);
  file.samples(frame);
  file.close();
  if (const auto why = file.failure())
    return Error{ErrorCode::write_failed, path.string(), *why, "a writable place for a FITS file", ""};
  return std::nullopt;
}

}  // namespace polewright::simulate

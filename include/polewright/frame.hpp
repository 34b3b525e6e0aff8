// Frame: one plane of pixels as stored, with what, when, where and through which optics it was taken.
#pragma once

#include <array>
#include <cstdint>
#include <filesystem>
#include <optional>
#include <string>
#include <vector>

#include "polewright/geometry.hpp"
#include "polewright/result.hpp"
#include "polewright/site.hpp"
#include "polewright/time.hpp"

namespace polewright {

/// A metadata value and where it was found: "FITS DATE-OBS", "EXIF FocalLength", "option --site", ….
template <class T>
struct Sourced {
  T value{};
  std::string source;
};
template <class T>
using MaybeSourced = std::optional<Sourced<T>>;

enum class FilterColour { mono, red, green, blue };

/// 2×2 colour-filter pattern: colour[2·(y mod 2) + (x mod 2)] for stored pixel (x, y). All mono: no filter.
struct Mosaic {
  std::array<FilterColour, 4> colour{FilterColour::mono, FilterColour::mono, FilterColour::mono, FilterColour::mono};
  [[nodiscard]] bool is_colour() const { return colour[0] != FilterColour::mono || colour[3] != FilterColour::mono; }
  [[nodiscard]] FilterColour at(int x, int y) const { return colour[static_cast<std::size_t>(2 * (y & 1) + (x & 1))]; }
};

enum class FileKind { fits, raw, tiff, png, jpeg };

/// Where the header says the frame points; a hint for identification, never a fact.
struct PointingHint {
  Vec<Icrs> centre;
  std::string source;
};

/// Everything the file says besides pixels. Absent means the file does not say.
struct FrameMetadata {
  MaybeSourced<double> exposure_s;
  MaybeSourced<UtcTime> mid_time;  ///< middle of the exposure
  /// 1σ of the difference between this frame's stamp and another's from the same clock: the stamp's resolution.
  double mid_time_sigma_s = 0.0;
  /// The stamp's wall clock when no zone is recorded; then mid_time is absent. Already moved to mid-exposure.
  MaybeSourced<CalendarTime> mid_local_time;
  MaybeSourced<Site> site;
  MaybeSourced<double> focal_length_mm;
  MaybeSourced<double> pixel_pitch_um;  ///< of the pixels as stored, after binning
  MaybeSourced<double> sensor_width_mm;
  MaybeSourced<double> scale_arcsec_per_px;  ///< when the file states the scale itself; nominal
  std::optional<PointingHint> pointing;
  std::string camera;  ///< make and model, or the FITS INSTRUME; empty when unknown
  std::string lens;
  std::string object;
  MaybeSourced<double> f_number;
  MaybeSourced<double> iso;
  MaybeSourced<double> sensor_temperature_c;
  MaybeSourced<double> air_pressure_hpa;
  MaybeSourced<double> air_temperature_c;
  std::vector<std::string> warnings;  ///< headers that disagree, west-positive longitudes turned, …
};

/// One plane of width×height 16-bit samples, rows as in the file. Physical value = zero + scale·sample: 0 and 1 for
/// unsigned 16-bit files, zero −32768 for signed ones; 8-bit colours are summed (scale 1/3); float and 32-bit files are
/// quantised so that rounding stays below a tenth of the noise. Black is the physical 0 unless the file says otherwise.
struct Frame {
  std::filesystem::path path;
  FileKind kind{};
  int width = 0, height = 0;
  std::vector<std::uint16_t> pixels;
  double zero = 0.0, scale = 1.0;
  Mosaic mosaic;
  std::array<double, 4> black_level{};  ///< in sample units, per position of the 2×2 pattern
  double white_level = 65535.0;         ///< in sample units; at or above: saturated
  std::vector<std::uint32_t> blank;     ///< indices of pixels without a value (NaN, BLANK), ascending
  int planes_combined = 1;              ///< 3 when a colour picture was averaged into this plane
  int binned = 1;                       ///< n when n×n stored pixels were averaged (mosaics other than 2×2)
  bool lossy = false;                   ///< JPEG: 8×8 blocks and a tone curve are in the data
  FrameMetadata metadata;

  [[nodiscard]] std::uint16_t at(int x, int y) const {
    return pixels[static_cast<std::size_t>(y) * static_cast<std::size_t>(width) + static_cast<std::size_t>(x)];
  }
};

struct ReadOptions {
  /// Seconds east of UTC of a camera clock that records no zone.
  std::optional<int> utc_offset_s;
  /// Skip the pixels: metadata, size and pattern only.
  bool metadata_only = false;
  /// Samples no longer needed, such as the previous frame's: their room is used for the new ones. Taking 48 MB anew for
  /// every frame costs a tenth of reading it.
  std::vector<std::uint16_t>* memory = nullptr;
};

/// Reads FITS (also tile-compressed), camera raw and DNG, TIFF, PNG, JPEG; the content decides, not the name.
/// Errors: file_missing, file_unreadable, format_unknown, file_truncated, file_unsupported.
[[nodiscard]] Result<Frame> read_frame(const std::filesystem::path& path, const ReadOptions& options = {});

/// True when the first bytes (or, for TIFF-based raws, the name) look like a frame this program reads. Never throws.
[[nodiscard]] bool looks_like_frame(const std::filesystem::path& path);

/// Reads a site as people and headers write it: '46.55,7.98,1650' or '46:33:00 N, 7:58:48 E'.
/// Errors: option_invalid with the range found.
[[nodiscard]] Result<Site> parse_site(const std::string& text);

}  // namespace polewright

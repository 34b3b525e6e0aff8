// What `check` keeps of a frame once its pixels are gone: 12 KB instead of 50 MB.
#pragma once

#include <cstdint>
#include <functional>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "polewright/frame.hpp"
#include "polewright/session.hpp"
#include "polewright/stars.hpp"
#include "session/load.hpp"

namespace polewright::session {

/// Changes whenever the meaning or the making of a record changes; older records are measured anew.
inline constexpr std::string_view kRecordVersion = "5";

/// One star, in single precision: 0.0005 px on a 6000 px frame is far below any centroid's error.
struct StarRecord {
  float x, y, cov_xx, cov_xy, cov_yy, flux, flux_sigma, snr, moment_xx, moment_xy, moment_yy, fwhm, trail_x, trail_y;
  std::uint32_t flags;
};

struct FrameRecord {
  // What the file said.
  FrameMetadata metadata;
  FileKind kind{};
  Mosaic mosaic;
  int width = 0, height = 0;
  // What the pixels said.
  int stars_usable = 0;
  double sky_level = 0.0, sky_noise = 0.0, psf_sigma_px = 0.0, fwhm_px = 0.0;
  double trail_px = 0.0, trail_sigma_px = 0.0, trail_angle_deg = 0.0;
  TrailField field;                           ///< without the rotation in angles, which depends on options
  double tilt_px = 0.0, tilt_sigma_px = 0.0;  ///< growth of the star width across the frame that a tilted sensor makes
  double elongation = 1.0;
  std::optional<PixelPoint> doubled_px;  ///< offset of the second image when every star stands twice
  std::vector<std::string> flags;
  std::vector<StarRecord> stars;  ///< the brightest usable ones
};

struct RecordOptions {
  std::size_t most_stars = 200;  ///< kept per frame; enough to match, to identify and to fit
  int most_fitted = 200;         ///< that get a profile fit; as many as are kept
  int most_saturated = 20;       ///< that get one: they say where, not how trailed
  int most_found = 1000;         ///< beyond these a lost half still shows in the light of the stars in common
};

/// Reads and measures one file on one thread. `memory` keeps the room for its samples from one frame to the next;
/// `look` sees the pixels before they go.
[[nodiscard]] Result<FrameRecord> measure_frame(const std::filesystem::path& path, const RecordOptions& options = {},
                                                std::vector<std::uint16_t>* memory = nullptr,
                                                const std::function<void(const Frame&)>& look = {});
/// The same from pixels at hand.
[[nodiscard]] Result<FrameRecord> record_of(const Frame& frame, const RecordOptions& options = {});
[[nodiscard]] FrameRecord record_of(const Frame& frame, const StarList& stars, const RecordOptions& options = {});

/// Star list as the other stages take it.
[[nodiscard]] StarList star_list_of(const FrameRecord& record);
/// The record as the measured frame that `align` works with; times by the options' clock zone.
[[nodiscard]] MeasuredFrame measured_of(const FrameRecord& record, const std::filesystem::path& path,
                                        const SessionOptions& options);

/// Middle of the exposure by the camera's clock (as UTC once the zone is known).
struct ClockTime {
  UtcTime time;
  bool zone_known = false;
};
[[nodiscard]] std::optional<ClockTime> clock_time_of(const FrameRecord& record, const SessionOptions& options);

/// Bytes for the cache, and back. Nothing when the bytes are damaged or of another version.
[[nodiscard]] std::string pack(const FrameRecord& record);
[[nodiscard]] std::optional<FrameRecord> unpack(std::string_view bytes);

}  // namespace polewright::session

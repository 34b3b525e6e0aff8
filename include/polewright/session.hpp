// session: runs the stages for each command. Read this header to see the whole way through the house.
#pragma once

#include <filesystem>
#include <functional>
#include <optional>
#include <string>
#include <vector>

#include "polewright/advise.hpp"
#include "polewright/report.hpp"
#include "polewright/result.hpp"

namespace polewright {

/// What the person said on the command line or in the config file; the frame's metadata fills what is absent.
struct SessionOptions {
  MaybeSourced<Site> site;
  std::optional<int> utc_offset_s;
  MaybeSourced<double> focal_mm;
  MaybeSourced<double> pitch_um;
  std::optional<double> exposure_s;  ///< the length meant to be shot
  double tolerance_px = 1.0;
  ReferencePole pole = ReferencePole::refracted;
  Weather weather;
  BaseGeometry base;
  int threads = 0;
  std::optional<std::filesystem::path> catalogue;
  bool pictures = false;              ///< gather what the page and the overlay show; reads one frame once more
};

/// Told of each step ("reading", "finding stars", …) with done and total; may be empty.
using Progress = std::function<void(const std::string& step, std::size_t done, std::size_t total)>;

/// Two frames or more -> axis, correction, exposure. Errors are for input that cannot be analysed at all; everything
/// else is an outcome in the report.
[[nodiscard]] Result<AlignReport> align(const std::vector<std::filesystem::path>& frames, const SessionOptions& options,
                                        const Progress& progress = {});

/// One frame -> what was read from it and measured in it.
[[nodiscard]] Result<InspectReport> inspect(const std::filesystem::path& frame, const SessionOptions& options,
                                            const Progress& progress = {});

}  // namespace polewright

// Options every command shares, and how text becomes a value.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "polewright/session.hpp"

namespace polewright::cli {

/// What was typed. Absent options leave the config file's or the frame's own value in force.
struct Typed {
  std::string site, utc_offset, pole, config_file, json_file, report_file, overlay_file;
  std::optional<double> focal_mm, pitch_um, exposure_s, tolerance_px, pressure_hpa, temperature_c;
  int threads = 0;
  bool quiet = false, verbose = false;
  std::vector<std::string> frames;
};

/// '+02:00', '-07:00', '+0530', '2', 'Z' -> seconds east of UTC. Error: option_invalid.
[[nodiscard]] Result<int> parse_utc_offset(const std::string& text);

/// Lays the typed options over the config file. Errors: option_invalid, config_invalid.
[[nodiscard]] Result<SessionOptions> session_options(const Typed& typed);

/// Reads the config file into options; a missing default file is no error. Errors: config_invalid, file_missing.
[[nodiscard]] Result<SessionOptions> read_config(const std::string& path_or_empty);

}  // namespace polewright::cli

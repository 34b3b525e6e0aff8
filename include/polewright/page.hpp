// page: one self-contained HTML page per result, and the picture overlay. Nothing is computed here.
#pragma once

#include <string>

#include "polewright/check.hpp"
#include "polewright/evidence.hpp"
#include "polewright/report.hpp"

namespace polewright {

/// The whole page as text: no network, strict content policy, the JSON of the command embedded unchanged.
[[nodiscard]] std::string align_page(const AlignReport& report);
[[nodiscard]] std::string inspect_page(const InspectReport& report);

[[nodiscard]] std::string check_page(const CheckReport& report);

/// PNG of a frame with its stars, flags and trails marked, legend below. `path` is written whole or not at all.
/// Errors: write_failed; also when the view holds no picture.
[[nodiscard]] Status write_overlay(const std::string& path, const FrameView& view);

}  // namespace polewright

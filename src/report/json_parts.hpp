// Pieces of JSON that several reports share. Unknown is null; every key carries its unit.
#pragma once

#include <nlohmann/json.hpp>
#include <optional>

#include "polewright/report.hpp"

namespace polewright::report {

using Json = nlohmann::ordered_json;

template <class T>
[[nodiscard]] Json maybe(const std::optional<T>& value) {
  return value ? Json(*value) : Json(nullptr);
}

[[nodiscard]] Json program_json();
[[nodiscard]] Json frame_json(const FrameReport& frame);
[[nodiscard]] Json optics_json(const OpticsReport& optics);
[[nodiscard]] Json site_json(const std::optional<SiteReport>& site);
[[nodiscard]] Json axis_json(const MountSolution& mount, ReferencePole pole);
[[nodiscard]] Json rate_json(const MountSolution& mount);
/// Text of a JSON value: indented, non-ASCII kept, invalid UTF-8 replaced, ends with a newline.
[[nodiscard]] std::string dump(const Json& json);

}  // namespace polewright::report

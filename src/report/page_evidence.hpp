// Evidence as the page's scripts read it.
#pragma once

#include "polewright/evidence.hpp"
#include "report/json_parts.hpp"

namespace polewright::report {

[[nodiscard]] Json frame_view_json(const FrameView& view);
[[nodiscard]] Json align_evidence_json(const std::optional<AlignEvidence>& evidence);
[[nodiscard]] Json inspect_evidence_json(const std::optional<FrameView>& view);
[[nodiscard]] Json check_evidence_json(const CheckEvidence& evidence);

}  // namespace polewright::report

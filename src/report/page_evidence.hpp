// Evidence as the page's scripts read it.
#pragma once

#include "polewright/evidence.hpp"
#include "report/json_parts.hpp"

namespace polewright::report {

/// "data:image/jpeg;base64,…" of a picture not larger than `most_bytes` before the base64; empty for an empty picture.
/// The quality is lowered until it fits, down to a floor below which stars would be lost.
[[nodiscard]] std::string jpeg_data_uri(const GreyPicture& picture, std::size_t most_bytes);

[[nodiscard]] Json frame_view_json(const FrameView& view);
[[nodiscard]] Json align_evidence_json(const std::optional<AlignEvidence>& evidence);
[[nodiscard]] Json inspect_evidence_json(const std::optional<FrameView>& view);
[[nodiscard]] Json check_evidence_json(const CheckEvidence& evidence);

}  // namespace polewright::report

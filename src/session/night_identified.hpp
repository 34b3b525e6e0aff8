// Identification remembered from run to run: a night whose stars cannot be identified costs its seconds only once.
#pragma once

#include "polewright/identify.hpp"
#include "session/night_cache.hpp"

namespace polewright::session {

/// Changes whenever identification changes what it finds; older results are worked out anew.
inline constexpr std::string_view kIdentifiedVersion = "2";

/// Names everything an identification depends on: what was measured in the frame, the star table, hints and options.
[[nodiscard]] std::uint64_t identification_key(const FrameRecord& record, const Catalogue& catalogue,
                                               const IdentifyHints& hints, const IdentifyOptions& options);

/// identify(), from the cache when the same question was asked before. A refusal is believed for a day: it may have
/// been for lack of time on a busy machine. Without a cache it just identifies.
[[nodiscard]] IdentifyResult identify_remembered(const FrameRecord& record, const StarList& stars,
                                                 const Catalogue& catalogue, const IdentifyHints& hints,
                                                 const IdentifyOptions& options, NightCache* cache);

[[nodiscard]] std::string pack(const IdentifyResult& result);
[[nodiscard]] std::optional<IdentifyResult> unpack_identified(std::string_view bytes);

}  // namespace polewright::session

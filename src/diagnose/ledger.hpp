// Everything found out about a sequence, before it is put into words.
#pragma once

#include "diagnose/frame_motion.hpp"
#include "diagnose/star_sizes.hpp"

namespace polewright::diagnose {

struct Ledger {
  const std::vector<NightFrame>& frames;
  const NightField& field;
  const NightOptions& options;
  Series series;
  Finding finding;
  StarSizes sizes;
  std::vector<FrameMotion> motions;

  /// Motion leaps that stay or return, by night frame: the frame from which the field is shifted, and how far.
  struct Event {
    std::size_t frame = 0;   ///< first frame after a step, or the frame of a blip
    std::size_t before = 0;  ///< last placed frame before it
    bool stays = false;
    bool deliberate = false;  ///< somebody aimed anew, or dithers
    Displacement moved = Displacement::Zero();
    double sigma_px = 0.0;
    double bic_gain = 0.0;
  };
  std::vector<Event> events;
  /// Frames smeared beyond what sequence and noise explain.
  [[nodiscard]] bool sudden(std::size_t frame) const { return motions[frame].excess; }
};

/// One frame's verdict and cause; `votes` tells which causes spoil it and by what share (empty when sharp).
struct Vote {
  std::string cause;
  double share = 0.0;
  double trail_px = 0.0;
};
struct Judgement {
  FrameFinding finding;
  std::vector<Vote> votes;
};
[[nodiscard]] Judgement judge(const Ledger& ledger, std::size_t frame);

/// The sequence's causes from the frames' votes, with evidence.
[[nodiscard]] std::vector<NightCause> causes_of(const Ledger& ledger, const std::vector<Judgement>& judgements,
                                                const NightDiagnosis& so_far);
/// Figures and one sentence for a cause.
[[nodiscard]] std::string evidence_for(const std::string& cause, const Ledger& ledger, const NightDiagnosis& so_far,
                                       std::size_t frames);

}  // namespace polewright::diagnose

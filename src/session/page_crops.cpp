#include <map>

#include "session/page_evidence.hpp"

namespace polewright::session {

CheckEvidence check_evidence(const CheckReport& report, std::vector<NightFile> files, int crop_px) {
  std::map<std::string, std::string> crops;
  for (NightFile& file : files) crops.emplace(file.input.file.string(), std::move(file.crops));
  CheckEvidence out;
  out.crop_px = crop_px;
  for (const CheckFrame& frame : report.frames) out.crops.push_back(std::move(crops[frame.file]));
  return out;
}

}  // namespace polewright::session

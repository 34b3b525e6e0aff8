#include "polewright/page.hpp"

#include "report/page_evidence.hpp"
#include "report/page_template.hpp"

namespace polewright {

using namespace report;

std::string align_page(const AlignReport& r) {
  return fill_page({align_text(r), align_json(r), align_evidence_json(r.evidence).dump(-1, ' ', false, Json::error_handler_t::replace)});
}

std::string inspect_page(const InspectReport& r) {
  return fill_page({inspect_text(r), inspect_json(r), inspect_evidence_json(r.view).dump(-1, ' ', false, Json::error_handler_t::replace)});
}

}  // namespace polewright

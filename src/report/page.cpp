#include "polewright/page.hpp"

#include "report/page_evidence.hpp"
#include "report/page_template.hpp"

namespace polewright {

using namespace report;

namespace {

/// Without spaces: the page reads it, people read the JSON of the command.
std::string data(const Json& json) {
  return json.dump(-1, ' ', false, Json::error_handler_t::replace);
}

}  // namespace

std::string align_page(const AlignReport& r) {
  return fill_page({align_text(r), align_json(r), data(align_evidence_json(r.evidence))});
}

std::string inspect_page(const InspectReport& r) {
  return fill_page({inspect_text(r), inspect_json(r), data(inspect_evidence_json(r.view))});
}

std::string check_page(const CheckReport& r) {
  return fill_page(
      {check_text(r, {{}, 0}), check_json(r), data(check_evidence_json(r.evidence.value_or(CheckEvidence{})))});
}

}  // namespace polewright

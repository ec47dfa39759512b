#pragma once
// What the channels that use libcurl share: one transfer with a hard time limit, certificates always checked,
// and where its failures lead (try again, or refused until somebody changes something). Threads: one Transfer
// belongs to one thread. Errors: libcurl's own words, never a password or a URL's user part.

#include <curl/curl.h>

#include <cstdint>
#include <memory>
#include <string>
#include <string_view>

#include "baskwell/plugin.hpp"

namespace baskwell::channels {

// Once a process; libcurl 7.84 and later does it safely from several plugins and threads.
void start_curl();

// Whether `url` (scheme://[user@]host[:port]/...) names this machine: localhost, 127.0.0.0/8 or [::1].
[[nodiscard]] bool is_loopback_url(std::string_view url);

class Transfer {
 public:
  Transfer(const std::string& url, const std::string& ca_file, std::uint32_t timeout_ms);

  [[nodiscard]] CURL* handle() const { return handle_.get(); }
  void set(CURLoption option, long value);
  void set(CURLoption option, const std::string& value);
  void add_to(curl_slist*& list, const std::string& line);  // keeps the list until the end of the transfer

  // The response's text is kept up to this; the transfer is ended there.
  static constexpr std::size_t response_bytes_max = 65'536;

  [[nodiscard]] CURLcode run();
  [[nodiscard]] long response_code() const;
  [[nodiscard]] const std::string& response() const { return response_; }
  [[nodiscard]] bool cut_short() const { return cut_short_; }
  // libcurl's words for what went wrong, with the detail where it has one.
  [[nodiscard]] std::string cause(CURLcode code) const;

 private:
  struct FreeHandle {
    void operator()(CURL* handle) const { curl_easy_cleanup(handle); }
  };
  struct FreeList {
    void operator()(curl_slist* list) const { curl_slist_free_all(list); }
  };
  static std::size_t keep(char* data, std::size_t size, std::size_t count, void* self);

  std::unique_ptr<CURL, FreeHandle> handle_;
  std::unique_ptr<curl_slist, FreeList> list_;
  char detail_[CURL_ERROR_SIZE] = {};
  std::string response_;
  bool cut_short_ = false;
};

// A transfer that got no answer to go by: whether it may work later.
[[nodiscard]] bw_delivery delivery_of(CURLcode code);

}  // namespace baskwell::channels

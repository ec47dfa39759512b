#pragma once
// The local socket between the running daemon and the command line: one request a connection, one JSON object
// a line each way. Who may ask is held by the socket file's permissions (0660). Bounds: a request of 16 KB,
// 10 s a connection, 32 connections. Server: on the domain's io_context; client: blocking, for the command
// line.

#include <boost/asio/io_context.hpp>
#include <filesystem>
#include <functional>
#include <memory>
#include <string>

#include "core/result.h"

namespace baskwell {

// Takes the one answer line, once, now or later, on the io_context's thread. An answer after the connection's
// time is lost.
using ControlReply = std::function<void(std::string answer)>;
// Is asked one request line. `peer` is the name of the user who asks, by the socket's credentials.
using ControlHandler =
    std::function<void(const std::string& request, const std::string& peer, ControlReply reply)>;

class ControlServer {
 public:
  [[nodiscard]] static Result<std::unique_ptr<ControlServer>> open(boost::asio::io_context& io,
                                                                   const std::filesystem::path& socket,
                                                                   ControlHandler handler);
  ~ControlServer();  // closes and removes the socket file
  ControlServer(const ControlServer&) = delete;
  ControlServer& operator=(const ControlServer&) = delete;

 private:
  struct Inner;
  explicit ControlServer(std::shared_ptr<Inner> inner);
  std::shared_ptr<Inner> inner_;
};

// Sends one request, returns the answer line. Errors in words: no daemon there, not allowed, no answer in
// time.
[[nodiscard]] Result<std::string> ask_daemon(const std::filesystem::path& socket, const std::string& request);

}  // namespace baskwell

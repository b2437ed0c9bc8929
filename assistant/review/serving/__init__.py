"""The server: requests in, pages out, live sessions streamed. Only `wiring` knows voices and trainees."""
